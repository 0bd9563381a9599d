"""Inputs of `verify`: evidence files, statements signed by a stranger, daily roots, keys."""

import hashlib
import json
import tempfile
import zlib
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from evidence_shop import sealed_shop
from fuzz import mutate
from fuzz.laws import Target, law, one_message
from steadybead_api.evidence.check import check
from steadybead_api.evidence.letters import letter_faults, read_letter
from steadybead_api.evidence.seal import SLOT_BYTES, find_slot
from steadybead_api.evidence.unpack import PREFIX
from steadybead_collector.evidence.keys import read_public, signing_key
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical, open_token, public_bytes, sign

_STRANGER = Ed25519PrivateKey.from_private_bytes(b"\7" * 32)
_MODULES = ("steadybead_api.evidence.check", "steadybead_domain.evidence.jws")


class Made:
    """One real evidence file of a sealed shop, its key, and the root that left the shop."""

    def __init__(self, folder: Path) -> None:
        shop_folder, drop = folder / "shop", folder / "drop"
        shop_folder.mkdir()
        with sealed_shop(shop_folder) as shop:
            shop.keeper(drop).look()
            self.data = shop.evidence()
        self.key = public_bytes(signing_key(shop_folder))
        self.letter = next(p for p in drop.iterdir() if p.suffix == ".json").read_bytes()
        self.pem = (shop_folder / "keys" / "evidence-key.pub.pem").read_bytes()
        self.slot = find_slot(self.data)
        token = self.data[slice(*self.slot)].rstrip(b" ").decode()
        self.stated: dict[str, Any] = json.loads(open_token(token).payload)
        self.parts = {name: self.data[start:end] for name, start, end, _ in self.stated["parts"]}

    def sealed(self, data: bytes, stated: Any) -> bytes:
        """Put a statement, signed by a stranger, into the slot of a file."""
        token = sign(canonical(stated), _STRANGER).encode()[:SLOT_BYTES]
        return data[: self.slot[0]] + token.ljust(SLOT_BYTES) + data[self.slot[1] :]


@lru_cache(maxsize=1)
def real_file() -> Made:
    """Make the file once for all targets of a process."""
    with tempfile.TemporaryDirectory(prefix="steadybead-fuzz-") as folder:
        return Made(Path(folder))


def _checked(data: bytes, key: bytes | None = None) -> bool:
    """Check a file; what is wrong is said in clear lines."""
    found = check(data, key)
    for fault in found.faults:
        one_message(f"{fault.part}: {fault.text}")
    for fact in found.facts:
        one_message(fact)
    return found.untouched


def evidence_file(_: Path) -> Target:
    """Check files with changed bytes: never untouched, never a traceback."""
    made = real_file()
    key, whole = made.key, made.data

    def make(draw: Random) -> bytes:
        place = draw.random()
        if place > 0.97:
            return whole
        if place < 0.4:  # in the slot and around it, where little is bytes of no meaning
            start = max(0, made.slot[0] - 200)
            end = start + 2500
            return whole[:start] + mutate.data(draw, [whole[start:end]]) + whole[end:]
        changed = mutate.data(draw, [whole], draw.choice((1, 1, 2)))
        return changed if place < 0.92 else changed[: draw.randrange(len(changed) + 1)]

    def feed(data: bytes) -> bool:
        untouched = _checked(data, key)
        law(untouched == (data == whole), "changed, and said to be untouched")
        return untouched

    small = whole[: made.slot[1] + 40]
    return Target(
        "evidence files", make, feed, [small], _stranger_feed, _MODULES, most_megabytes=128
    )


def _stranger_feed(data: bytes) -> bool:
    return _checked(data)


def evidence_statement(_: Path) -> Target:
    """Check files that a stranger changed in their meaning and signed again."""
    made = real_file()
    names = [name for name, *_ in made.stated["parts"]]
    words = (
        *made.stated,
        *names,
        f"{PREFIX}manifest.json",
        "attachments",
        "tree",
        "leaves",
        "roots",
    )
    stream = made.parts[f"{PREFIX}manifest.json"]
    start, end = stream.index(b"stream\n") + 7, stream.rindex(b"\nendstream")
    manifest = json.loads(_inflated(stream[start:end]))
    readings = _content(made.parts[f"{PREFIX}readings.csv"])
    head = readings[: readings.index(b"\n", 2000) + 1]

    def make(draw: Random) -> bytes:
        kind = draw.randrange(4)
        if kind == 0:
            return made.sealed(made.data, mutate.tree(draw, made.stated, words))
        said = mutate.tree(draw, manifest, words) if kind < 3 else manifest
        table = mutate.data(draw, [head]) if kind != 1 else head
        return rebuilt(made, {"manifest.json": mutate.as_json(said), "readings.csv": table})

    return Target("evidence, signed again", _retry(make), _stranger_feed, most_megabytes=128)


def _retry(make: Any) -> Any:
    """Make again what has no canonical form (NaN, lone surrogates)."""

    def made(draw: Random) -> bytes:
        for _ in range(50):
            try:
                return make(draw)
            except (PlainError, ValueError, OverflowError):
                continue
        return b""

    return made


def rebuilt(made: Made, changed: dict[str, bytes]) -> bytes:
    """Append new attachments to the file's frame and state them; sign as a stranger."""
    frame = made.data[: made.slot[1] + 60]
    body, parts = frame, []
    contents = {**changed}
    digests = {name: hashlib.sha256(c).hexdigest() for name, c in contents.items()}
    try:
        listed = json.loads(contents["manifest.json"])
        listed["attachments"] = [
            {"name": n, "sha256": d} for n, d in digests.items() if n != "manifest.json"
        ]
        contents["manifest.json"] = mutate.as_json(listed)
    except (ValueError, TypeError):
        pass
    for name, content in contents.items():
        part = b"<< /Filter /FlateDecode >>\nstream\n" + zlib.compress(content) + b"\nendstream\n"
        at = len(body)
        body += part
        digest = hashlib.sha256(part).hexdigest()
        parts.append([f"{PREFIX}{name}", at, at + len(part), digest])
    rest = hashlib.sha256(body[: made.slot[0]] + body[made.slot[1] :]).hexdigest()
    stated = {**made.stated, "bytes": len(body), "sha256": rest, "parts": parts}
    return made.sealed(body, stated)


def _content(part: bytes) -> bytes:
    return _inflated(part[part.index(b"stream\n") + 7 : part.rindex(b"\nendstream")])


def _inflated(content: bytes) -> bytes:
    try:
        return zlib.decompress(content)
    except zlib.error:
        return content


def letters(folder: Path) -> Target:
    """Read daily roots and public keys as they were received."""
    made = real_file()
    root, pem = folder / "root.json", folder / "key.pem"
    found = check(made.data)
    letter = json.loads(made.letter)

    def signed(draw: Random) -> bytes:
        body = mutate.tree(
            draw, {k: v for k, v in letter.items() if k != "signature"}, tuple(letter)
        )
        if not isinstance(body, dict):
            return mutate.as_json(body)
        return mutate.as_json({**body, "signature": sign(canonical(body), _STRANGER)})

    def make(draw: Random) -> tuple[bytes, bytes]:
        again = draw.random() < 0.4
        text = _retry(signed)(draw) if again else mutate.data(draw, [made.letter])
        return text, mutate.data(draw, [made.pem, b"A" * 43])

    def feed(given: tuple[bytes, bytes]) -> bool:
        text, key = given
        root.write_bytes(text)
        pem.write_bytes(key)
        try:
            read_public(pem)
        except PlainError as error:
            one_message(str(error))
        try:
            received = read_letter(root)
        except PlainError as error:
            return one_message(str(error))
        for fault in letter_faults(found, received):
            one_message(f"{fault.part}: {fault.text}")
        return True

    return Target("daily roots and keys", make, feed)

"""Checks an evidence file by itself: no network, no shop, no PDF reader."""

import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from steadybead_api.evidence import leaf_check
from steadybead_api.evidence.seal import FORM, SLOT_BYTES, SealError, find_slot
from steadybead_api.evidence.unpack import attachments
from steadybead_domain.errors import PlainError, one_line
from steadybead_domain.evidence.jws import Opened, SignatureError, canonical, open_token

SIGNATURE = "signature"
_MISFITS = (
    PlainError, ValueError, KeyError, TypeError, IndexError, RecursionError, ArithmeticError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """A part of the file that is not what was signed, and what is wrong with it."""

    part: str
    text: str

    def __post_init__(self) -> None:
        """Let no name in a stranger's file add a line to what is printed."""
        object.__setattr__(self, "part", one_line(self.part))
        object.__setattr__(self, "text", one_line(self.text))


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found. Without faults the file is untouched.

    `fingerprint` names the key that signed it, `signer_checked` tells that it is the one that
    was asked for. `facts` are lines of what the file states.
    """

    faults: tuple[Fault, ...]
    fingerprint: str = ""
    signer_checked: bool = False
    facts: tuple[str, ...] = ()
    manifest: dict[str, Any] = field(default_factory=dict)

    @property
    def untouched(self) -> bool:
        """Tell whether every bit is as it was signed."""
        return not self.faults


def check(data: bytes, key: bytes | None = None) -> Checked:
    """Check a file; with `key`, also that its owner signed it. Never raises for bad bytes."""
    try:
        start, end = find_slot(data)
    except SealError as error:
        return Checked((Fault(SIGNATURE, str(error)), *_whole(data)))
    try:
        opened, stated = _stated(data[start:end])
    except SignatureError as error:
        return Checked((Fault(SIGNATURE, str(error)),))
    faults = list(_byte_faults(data, stated, (start, end)))
    if key is not None and opened.key != key:
        text = f"it was signed by {opened.fingerprint}, not by the key that was given"
        faults.append(Fault("signer", text))
    checked = key is not None and opened.key == key
    if faults:
        return Checked(tuple(faults), opened.fingerprint, checked)
    return _content(data, stated, opened, signer_checked=checked)


def _whole(data: bytes) -> list[Fault]:
    if not data.startswith(b"%PDF-"):
        return [Fault("head of the file", "this is no PDF file")]
    if not data.rstrip(b"\r\n").endswith(b"%%EOF"):
        return [Fault("table and trailer", "the end of the file is missing")]
    return []


def _stated(slot: bytes) -> tuple[Opened, dict[str, Any]]:
    """Open the token in the slot; raise SignatureError for anything that is not as we write it."""
    try:
        token = slot.rstrip(b" ").decode("ascii")
    except UnicodeDecodeError:
        raise SignatureError("the signature has bytes that no signature has") from None
    opened = open_token(token)
    if token.encode().ljust(SLOT_BYTES) != slot:
        raise SignatureError("the signature has more in it than a signature")
    try:
        stated = json.loads(opened.payload)
        as_we_write = canonical(stated) == opened.payload and stated["form"] == FORM
        whole = (
            isinstance(stated["bytes"], int)
            and isinstance(stated["slot"], list)
            and isinstance(stated["sha256"], str)
            and all(_is_part(p) for p in stated["parts"])
        )
    except (ValueError, KeyError, TypeError, RecursionError, PlainError):
        as_we_write = whole = False
    if not as_we_write or not whole:
        raise SignatureError("what was signed is no statement about an evidence file")
    return opened, stated


def _is_part(part: Any) -> bool:
    name, start, end, digest = part
    texts = isinstance(name, str) and isinstance(digest, str)
    return texts and isinstance(start, int) and isinstance(end, int) and 0 <= start <= end


def _byte_faults(data: bytes, stated: dict[str, Any], slot: tuple[int, int]) -> list[Fault]:
    faults = []
    size = stated["bytes"]
    if len(data) < size:
        faults.append(Fault("end of the file", f"{size - len(data)} bytes are missing"))
    elif len(data) > size:
        faults.append(Fault("end of the file", f"{len(data) - size} bytes were added"))
    named = []
    for name, start, end, digest in stated["parts"]:
        if hashlib.sha256(data[start:end]).hexdigest() != digest and name not in named:
            named.append(name)
            faults.append(Fault(name, f"changed between byte {start} and byte {end}"))
    rest = hashlib.sha256(data[: slot[0]] + data[slot[1] :]).hexdigest()
    if list(slot) != stated["slot"]:
        faults.append(Fault(SIGNATURE, "it does not stand where it was put"))
    elif rest != stated["sha256"] and not faults:
        faults.append(Fault("body of the file", "changed"))
    return faults


def _content(
    data: bytes, stated: dict[str, Any], opened: Opened, *, signer_checked: bool
) -> Checked:
    """See whether what the bytes say fits together, now that they are as signed."""
    faults: list[Fault] = []
    facts: list[str] = []
    manifest: dict[str, Any] = {}
    try:
        found = attachments(data, stated)
        manifest = json.loads(found.pop("manifest.json"))
        faults += _manifest_faults(found, manifest)
        with np.errstate(invalid="raise"):  # a number that is none is no reading of ours
            leaves = leaf_check.faults(found.get("readings.csv", b""), manifest)
            faults += [Fault(*fault) for fault in leaves]
        facts = [one_line(fact) for fact in leaf_check.facts(manifest)]
    except _MISFITS as error:
        kind = "" if isinstance(error, PlainError) else f"{type(error).__name__}: "
        faults.append(Fault("manifest.json", f"does not fit the attachments ({kind}{error})"))
    return Checked(tuple(faults), opened.fingerprint, signer_checked, tuple(facts), manifest)


def _manifest_faults(found: dict[str, bytes], manifest: dict[str, Any]) -> list[Fault]:
    listed = {item["name"]: item["sha256"] for item in manifest["attachments"]}
    faults = [
        Fault(f"attachment {name}", "is not the one that the manifest lists")
        for name, content in found.items()
        if listed.get(name) != hashlib.sha256(content).hexdigest()
    ]
    missing = listed.keys() - found.keys()
    return faults + [Fault(f"attachment {name}", "is missing") for name in sorted(missing)]

"""Daily roots as they were received outside of the shop, held against an evidence file."""

import json
from pathlib import Path
from typing import Any, Final

from steadybead_api.evidence.check import Checked, Fault
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical, open_token

LARGEST_BYTES: Final = 100_000


def read_letter(path: Path) -> dict[str, Any]:
    """Read what the shop sent; raise PlainError if it is none of ours, or was changed. OSError.

    What was sent as a message may be saved with text around it: the braces are looked for.
    """
    with path.open("rb") as file:
        text = file.read(LARGEST_BYTES).decode("utf-8", "replace")
    try:
        letter: dict[str, Any] = json.loads(text[text.index("{") : text.rindex("}") + 1])
        token = letter.pop("signature")
        opened = open_token(token)
        texts = isinstance(letter["sha256"], str) and isinstance(letter["root"], str)
        stated = canonical(letter) == opened.payload and texts
        letter["signer"] = opened.fingerprint
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, PlainError):
        stated = False
    if not stated:
        raise PlainError(f"{path}: is no daily root as a shop sends it, or it was changed")
    return letter


def letter_faults(found: Checked, letter: dict[str, Any]) -> list[Fault]:
    """Hold a received root against the file that names it."""
    part = f"daily root {letter['root']}"
    if letter["signer"] != found.fingerprint:
        return [Fault(part, f"was signed by {letter['signer']}, the file by another key")]
    named = {r["id"]: r["root"] for r in found.manifest["tree"]["roots"]}
    if letter["root"] not in named:
        return [Fault(part, "the file does not rest on it: look for the root of its day")]
    if named[letter["root"]] != letter["sha256"]:
        return [Fault(part, "the file names another hash than the one that was received")]
    return []

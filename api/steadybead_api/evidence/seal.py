"""The signature's slot in an evidence file, and the statement that fills it.

The statement names every range of bytes of the file but the slot, with its hash, so that a check
needs no PDF reader and can say which part was changed.
"""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical, sign

BEGIN: Final = b"-----BEGIN STEADYBEAD SIGNATURE-----\n"
END: Final = b"\n-----END STEADYBEAD SIGNATURE-----\n"
SLOT_BYTES: Final = 16_384
FORM: Final = "steadybead evidence 1"
_PAGES: Final = "pages of the report"
_OFFSET: Final = re.compile(rb"^(\d{10}) \d{5} n", re.MULTILINE)


class SealError(PlainError):
    """A file without its one slot."""


@dataclass(frozen=True, slots=True)
class Part:
    """A range of bytes [start, end) with a name that a person understands."""

    name: str
    start: int
    end: int


def empty_slot() -> bytes:
    """Give the content of the signature's attachment before it is signed."""
    return BEGIN + b" " * SLOT_BYTES + END


def find_slot(data: bytes) -> tuple[int, int]:
    """Find the slot's range; raise SealError if there is not exactly one, of its full length."""
    start = data.find(BEGIN) + len(BEGIN)
    once = data.count(BEGIN) == 1 and data.count(END) == 1
    if not once or data.find(END) != start + SLOT_BYTES:
        raise SealError("the frame of the signature is damaged or missing")
    return start, start + SLOT_BYTES


def seal(pdf: bytes, parts: Sequence[Part], key: Ed25519PrivateKey) -> bytes:
    """Fill the slot of a file that carries `empty_slot()`."""
    start, end = find_slot(pdf)
    token = sign(canonical(statement(pdf, parts, (start, end))), key).encode()
    if len(token) > SLOT_BYTES:
        raise SealError("the statement is longer than its slot")
    return pdf[:start] + token.ljust(SLOT_BYTES) + pdf[end:]


def statement(pdf: bytes, parts: Sequence[Part], slot: tuple[int, int]) -> dict[str, Any]:
    """State what the file's bytes are, but for the slot."""
    rest = hashlib.sha256(pdf[: slot[0]] + pdf[slot[1] :]).hexdigest()
    return {
        "form": FORM,
        "bytes": len(pdf),
        "slot": list(slot),
        "sha256": rest,
        "parts": [
            [p.name, p.start, p.end, hashlib.sha256(pdf[p.start : p.end]).hexdigest()]
            for p in parts
        ],
    }


def parts_of(pdf: bytes) -> list[Part]:
    """Cut a file that we wrote into named parts that cover it all but the slot."""
    slot = find_slot(pdf)
    offsets = sorted(_object_offsets(pdf))
    names = _names(pdf, offsets)
    edges = [0, *offsets, _table_start(pdf), len(pdf)]
    labels = ["head of the file", *names, "table and trailer"]
    parts: list[Part] = []
    for name, start, end in zip(labels, edges, edges[1:], strict=False):
        for begin, stop in _without(slot, start, end):
            if parts and parts[-1].name == name and parts[-1].end == begin:
                parts[-1] = Part(name, parts[-1].start, stop)
            else:
                parts.append(Part(name, begin, stop))
    return [p for p in parts if p.start < p.end]


def _without(slot: tuple[int, int], start: int, end: int) -> list[tuple[int, int]]:
    if slot[1] <= start or slot[0] >= end:
        return [(start, end)]
    return [(start, slot[0]), (slot[1], end)]


def _table_start(pdf: bytes) -> int:
    found = re.search(rb"startxref\s+(\d+)\s+%%EOF\s*\Z", pdf)
    if found is None:
        raise SealError("the written file has no table of objects")
    return int(found[1])


def _object_offsets(pdf: bytes) -> list[int]:
    table = pdf[_table_start(pdf) :]
    return [int(m[1]) for m in _OFFSET.finditer(table)]


def _names(pdf: bytes, offsets: Sequence[int]) -> list[str]:
    """Name each object by its kind; attachments by their file's name."""
    heads = {}
    for offset in offsets:
        head = pdf[offset : offset + 1_500].split(b"stream\n", 1)[0].split(b"endobj", 1)[0]
        heads[offset] = head
    known = {}
    for head in heads.values():
        if b"/Type /Filespec" in head:
            target = re.search(rb"/EF <<\s*/F (\d+) 0 R", head)
            name = re.search(rb"/F \(([A-Za-z0-9_.-]+)\)", head)
            if target and name:
                known[int(target[1])] = f"attachment {name[1].decode()}"
        elif content := re.search(rb"/Contents (\d+) 0 R", head):
            known[int(content[1])] = _PAGES
    return [_name(head, known) for head in heads.values()]


def _name(head: bytes, known: dict[int, str]) -> str:
    number = int(head.split(b" ", 1)[0])
    if number in known:
        return known[number]
    for mark, name in (
        (b"/Type /Page\n", _PAGES),
        (b"/Type /Pages", _PAGES),
        (b"/Type /Font", "fonts"),
        (b"/Type /Metadata", "description of the file"),
        (b"/Type /Filespec", "list of attachments"),
        (b"/Type /Catalog", "catalogue of the file"),
    ):
        if mark in head:
            return name
    return "body of the file"

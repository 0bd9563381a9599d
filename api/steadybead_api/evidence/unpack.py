"""Attachments out of an evidence file whose bytes have been checked against its statement."""

import zlib
from typing import Any, Final

from steadybead_domain.errors import PlainError

PREFIX: Final = "attachment "
LARGEST: Final = 512 * 2**20


class UnpackError(PlainError):
    """A file that is signed but does not have the shape of an evidence file."""


def attachments(data: bytes, statement: dict[str, Any]) -> dict[str, bytes]:
    """Give the content of each attachment by its name, the signature's left out."""
    found: dict[str, bytes] = {}
    room = LARGEST
    for name, start, end, _ in statement["parts"]:
        if name.startswith(PREFIX) and name != f"{PREFIX}signature.jws":
            content = _content(data[start:end], name, room)
            room -= len(content)
            found[name.removeprefix(PREFIX)] = content
    return found


def _content(part: bytes, name: str, room: int) -> bytes:
    begin = part.find(b"stream\n") + len(b"stream\n")
    end = part.rfind(b"\nendstream")
    if begin < len(b"stream\n") or end < begin:
        raise UnpackError(f"{name} has no content")
    head, content = part[:begin], part[begin:end]
    if b"/FlateDecode" not in head:
        return content
    if room < 1:
        raise UnpackError(f"{name} goes beyond {LARGEST // 2**20} MiB for all attachments")
    reader = zlib.decompressobj()
    try:
        whole = reader.decompress(content, room)
    except zlib.error:
        raise UnpackError(f"{name} cannot be decompressed") from None
    if not reader.eof:
        raise UnpackError(f"{name} is cut short, or all are beyond {LARGEST // 2**20} MiB")
    return whole

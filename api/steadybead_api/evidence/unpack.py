"""Attachments out of an evidence file whose bytes have been checked against its statement."""

import zlib
from typing import Any, Final

from steadybead_domain.errors import PlainError

PREFIX: Final = "attachment "
_LARGEST: Final = 512 * 2**20


class UnpackError(PlainError):
    """A file that is signed but does not have the shape of an evidence file."""


def attachments(data: bytes, statement: dict[str, Any]) -> dict[str, bytes]:
    """Give the content of each attachment by its name, the signature's left out."""
    found = {}
    for name, start, end, _ in statement["parts"]:
        if name.startswith(PREFIX) and name != f"{PREFIX}signature.jws":
            found[name.removeprefix(PREFIX)] = _content(data[start:end], name)
    return found


def _content(part: bytes, name: str) -> bytes:
    begin = part.find(b"stream\n") + len(b"stream\n")
    end = part.rfind(b"\nendstream")
    if begin < len(b"stream\n") or end < begin:
        raise UnpackError(f"{name} has no content")
    head, content = part[:begin], part[begin:end]
    if b"/FlateDecode" not in head:
        return content
    reader = zlib.decompressobj()
    try:
        whole = reader.decompress(content, _LARGEST)
    except zlib.error:
        raise UnpackError(f"{name} cannot be decompressed") from None
    if not reader.eof:
        raise UnpackError(f"{name} is cut short, or larger than {_LARGEST // 2**20} MiB")
    return whole

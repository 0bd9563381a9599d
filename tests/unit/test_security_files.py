"""Files from strangers: what is packed into an evidence file cannot fill the memory."""

import zlib
from typing import Any

import pytest

from steadybead_api.evidence import unpack
from steadybead_api.evidence.unpack import UnpackError, attachments


def packed(content: bytes) -> bytes:
    return b"<< /Filter /FlateDecode >>\nstream\n" + zlib.compress(content, 9) + b"\nendstream"


def stated(*parts: bytes) -> tuple[bytes, dict[str, Any]]:
    rows, end = [], 0
    for number, part in enumerate(parts):
        rows.append([f"attachment a{number}", end, end + len(part), ""])
        end += len(part)
    return b"".join(parts), {"parts": rows}


def test_all_attachments_together_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpack, "LARGEST", 3000)
    fits = attachments(*stated(packed(b"x" * 1500), packed(b"y" * 1500)))
    assert [len(content) for content in fits.values()] == [1500, 1500]
    for sizes in ((3001,), (1500, 1501), (3000, 1), (1500, 1500, 1500)):
        with pytest.raises(UnpackError, match="beyond"):
            attachments(*stated(*(packed(b"z" * size) for size in sizes)))


def test_one_range_named_many_times_counts_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpack, "LARGEST", 10_000)
    data, statement = stated(packed(b"x" * 4000))
    statement["parts"] = [[f"attachment a{i}", 0, len(data), ""] for i in range(100)]
    with pytest.raises(UnpackError, match="beyond"):
        attachments(data, statement)

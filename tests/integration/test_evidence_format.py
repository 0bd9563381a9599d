"""The format's description is enough to check a file: its own code does it."""

import hashlib
import io
import json
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest

from evidence_shop import sealed_shop

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "api/steadybead_api/evidence/FORMAT.md").read_text("utf-8")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[bytes]:
    folder = tmp_path_factory.mktemp("shop")
    with sealed_shop(folder) as shop:
        shop.keeper(folder / "outside").look()
        yield shop.evidence()


@pytest.fixture(scope="module")
def code() -> dict[str, Any]:
    (block,) = re.findall(r"```python\n(.*?)```", TEXT, re.DOTALL)
    names: dict[str, Any] = {}
    exec(block, names)  # noqa: S102 - our own description
    return names


def test_the_described_code_checks_the_signature(file: bytes, code: dict[str, Any]) -> None:
    stated = code["statement"](file)
    assert stated["form"] == "steadybead evidence 1"
    covered = sum(end - start for _, start, end, _ in stated["parts"])
    assert covered == len(file) - 16_384
    changed = bytearray(file)
    changed[5000] ^= 1
    with pytest.raises(AssertionError):
        code["statement"](bytes(changed))


def test_the_described_leaves_lead_to_the_daily_root(file: bytes, code: dict[str, Any]) -> None:
    """Written here from the two descriptions alone, with the standard library."""
    attached = pypdf.PdfReader(io.BytesIO(file)).attachments
    tree = json.loads(attached["manifest.json"][0])["tree"]
    (root,) = tree["roots"]
    groups: dict[tuple[str, int, int], list[list[str]]] = {}
    for line in attached["readings.csv"][0].decode().splitlines()[1:]:
        cells = line.split(",")
        groups.setdefault((cells[0], int(cells[1]), int(cells[2])), []).append(cells[3:])
    leaves = {(e["channel"], e["part"], e["start"]): e for e in tree["leaves"]}
    assert len(groups) == len(leaves)
    for (channel, start, part), rows in groups.items():
        leaf = _leaf(channel, start, part, rows)
        entry = next(e for e in tree["leaves"] if e["sha256"] == leaf.hex())
        path = [bytes.fromhex(h) for h in entry["path"]]
        found = code["root_of"](leaf, entry["place"], root["leaves"], path)
        assert found.hex() == root["root"]


def _leaf(channel: str, start: int, part: int, rows: list[list[str]]) -> bytes:
    kinds = (("q", int), ("d", float), ("d", float), ("B", int), ("B", int), ("I", int))
    name = channel.encode()
    d = b"steadybead readings 1\n" + struct.pack("<H", len(name)) + name
    d += struct.pack("<qIQ", start, part, len(rows))
    for i, (kind, read) in enumerate(kinds):
        d += struct.pack(f"<{len(rows)}{kind}", *(read(row[i]) for row in rows))
    return hashlib.sha256(b"\x00" + d).digest()

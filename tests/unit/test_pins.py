"""What is installed is pinned, hashed, the same everywhere, and from no address of ours."""

import re
from pathlib import Path
from typing import Final

import pytest

TOP: Final = Path(__file__).parents[2]
FILES: Final = ("requirements.txt", "requirements-dev.txt", "requirements-server.txt")


def pins(name: str) -> dict[str, tuple[str, list[str]]]:
    """Give the version and the hashes of each part."""
    found = {}
    for block in re.split(r"\n(?=\S)", (TOP / name).read_text("utf-8").strip()):
        text = " ".join(line for line in block.splitlines() if not line.startswith("#"))
        head = re.match(r"([A-Za-z0-9._-]+)(?:\[[^]]*])?==([^ ;\\]+)", text)
        assert head is not None, f"{name}: {text[:80]} is not pinned"
        found[head[1]] = (head[2], re.findall(r"--hash=sha256:([0-9a-f]{64})\b", text))
    return found


@pytest.mark.parametrize("name", FILES)
def test_every_part_is_pinned_and_hashed(name: str) -> None:
    found = pins(name)
    assert len(found) >= 60
    assert [part for part, (_, hashes) in found.items() if not hashes] == []
    text = (TOP / name).read_text("utf-8")
    assert not re.search(r"://|--(?:extra-)?index-url|--find-links|git\+", text)


@pytest.mark.parametrize("name", FILES[1:])
def test_tests_and_servers_run_on_what_is_shipped(name: str) -> None:
    shipped, found = pins(FILES[0]), pins(name)
    assert {part: found.get(part) for part in shipped} == shipped

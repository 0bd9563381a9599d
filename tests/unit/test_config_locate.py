"""The locator is held to the standard TOML parser: both see the same keys."""

import tomllib
from typing import Any

import pytest

from steadybead_collector.config.locate import Lines, Path

TEXT = '''\
# a comment with [brackets] and "quotes
title = "x # no comment [" # comment ]
[site]
id = "north"   # with a comment

many = [
  "a", # ]
  "b]",
]
[ mqtt . "quoted.name" ]
"key with space" = 1
dotted.inner = 2
[[station]]
id = "one"
text = """
[not.a.table]
key = 1
"""
[station.blower]
limit = 1
[[station.channel]]
id = "a"
conversion = { kind = "k", table = {x = 1} }
[[station.channel]]
id = "b"
raw = \'\'\'
[[station]]
\'\'\'
[[station]]
id = "two"
[[station.channel]]
id = "c"
'''
EXPECTED: dict[Path, int] = {
    ("title",): 2,
    ("site",): 3,
    ("site", "id"): 4,
    ("site", "many"): 6,
    ("mqtt", "quoted.name"): 10,
    ("mqtt", "quoted.name", "key with space"): 11,
    ("mqtt", "quoted.name", "dotted", "inner"): 12,
    ("station", 0): 13,
    ("station", 0, "id"): 14,
    ("station", 0, "text"): 15,
    ("station", 0, "blower"): 19,
    ("station", 0, "channel", 0, "id"): 22,
    ("station", 0, "channel", 0, "conversion"): 23,
    ("station", 0, "channel", 1): 24,
    ("station", 0, "channel", 1, "raw"): 26,
    ("station", 1): 29,
    ("station", 1, "channel", 0, "id"): 32,
}


@pytest.mark.parametrize(("path", "line"), EXPECTED.items(), ids=str)
def test_each_key_stands_on_its_line(path: Path, line: int) -> None:
    assert Lines(TEXT).of(path) == line


def test_an_inline_key_falls_back_to_the_line_of_its_table() -> None:
    assert Lines(TEXT).of(("station", 0, "channel", 0, "conversion", "kind")) == 23


def test_a_missing_key_falls_back_to_the_nearest_table() -> None:
    lines = Lines(TEXT)
    assert lines.of(("station", 1, "channel", 0, "unit")) == 31
    assert lines.of(("access", "read")) == 1


def _leaves(data: Any, path: Path = ()) -> list[Path]:
    if isinstance(data, dict):
        return [leaf for k, v in data.items() for leaf in _leaves(v, (*path, k))]
    if isinstance(data, list) and data and isinstance(data[0], dict):
        return [leaf for i, v in enumerate(data) for leaf in _leaves(v, (*path, i))]
    return [path]


def test_every_key_that_the_parser_sees_is_found_on_a_line_that_holds_its_name() -> None:
    lines = Lines(TEXT)
    rows = TEXT.split("\n")
    for path in _leaves(tomllib.loads(TEXT)):
        outer = path[: path.index("conversion") + 1] if "conversion" in path else path
        assert str(outer[-1]) in rows[lines.of(path) - 1], path

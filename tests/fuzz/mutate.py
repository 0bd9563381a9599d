"""Small random changes of real inputs: bytes, trees of JSON values, lines of text."""

import json
import math
import re
from collections.abc import Sequence
from random import Random
from typing import Any

ODD_BYTES = (0x00, 0x01, 0x0A, 0x20, 0x22, 0x2C, 0x5B, 0x5D, 0x7B, 0x7D, 0x7F, 0x80, 0x9F, 0xFF)
ODD_NUMBERS: tuple[Any, ...] = (
    0, -0.0, 1, -1, 0.1, 1e-320, 1e15, 1e22, 1.7976931348623157e308, -1e308, 2**31, 2**53 + 1,
    2**63 - 1, 2**63, 2**64, -(2**63) - 1, 10**30, 268435456, 1e9, 1.7e9, 253402300800,
    math.nan, math.inf, -math.inf,
)  # fmt: skip
ODD_TEXTS = (
    "", " ", "\0", "a\0b", "\n", "\r\n", "é", "\u202e", "\ufeff", "😀", "𝔘", "\ud800",
    "'", '"', "\\",
    "/", "//", "../..", "%00", "%", "+", "#", "$SYS", "=1+1", "@x", "<script>alert(1)</script>",
    "gun-a/nozzle", "gun-z/x", "NaN", "null", "1e999", "2026-02-30T25:61:61Z",
    "0000-01-01T00:00:00Z",
    "9999-12-31T23:59:59.999999Z", "2026-05-04T07:30:00+23:59", "x" * 65, "y" * 300, "é" * 1100,
)  # fmt: skip
ODD_TOKENS = (
    b"1e999", b"-1e-999", b"9" * 400, b"1" * 5000, b"NaN", b"-Infinity", b"null", b"true", b"{}",
    b"[]", b'""', b"\\ud800", b"\\u0000", b"\xff\xfe", b"\xef\xbb\xbf", b"[" * 300, b"[" * 3000,
    b'{"a":' * 1200, b"0x10", b"1_000", b"-", b"1.", b".5", b"\x00",
)  # fmt: skip
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")


def value(draw: Random, depth: int = 2) -> Any:  # noqa: PLR0911
    """Make any JSON value."""
    kind = draw.randrange(8 if depth else 6)
    if kind < 2:
        return draw.choice(ODD_NUMBERS)
    if kind == 2:
        return draw.uniform(-500.0, 500.0)
    if kind == 3:
        return draw.choice(ODD_TEXTS)
    if kind == 4:
        return draw.choice((True, False, None))
    if kind == 5:
        return draw.randrange(-(10**6), 10**12)
    if kind == 6:
        return [value(draw, depth - 1) for _ in range(draw.randrange(4))]
    return {draw.choice(ODD_TEXTS): value(draw, depth - 1) for _ in range(draw.randrange(4))}


def tree(draw: Random, node: Any, words: Sequence[str] = (), changes: int = 0) -> Any:
    """Change a JSON value in some places; `words` are member names that it may be given."""
    for _ in range(changes or draw.choice((1, 1, 1, 2, 3, 6))):
        node = _changed(draw, node, words)
    return node


def _changed(draw: Random, node: Any, words: Sequence[str]) -> Any:  # noqa: PLR0911
    """Walk down to a random place and change it."""
    if isinstance(node, dict) and node and draw.random() < 0.85:
        key = draw.choice(list(node))
        kind = draw.randrange(10)
        if kind == 0:
            return {k: v for k, v in node.items() if k != key}
        if kind == 1:
            return {**node, draw.choice(words or ODD_TEXTS): value(draw)}
        if kind == 2:
            new = draw.choice(words or ODD_TEXTS)
            return {(new if k == key else k): v for k, v in node.items()}
        return {**node, key: _changed(draw, node[key], words)}
    if isinstance(node, list) and node and draw.random() < 0.9:
        place = draw.randrange(len(node))
        kind = draw.randrange(10)
        if kind == 0:
            return node[:place] + node[place + 1 :]
        if kind == 1:
            return [*node, node[place]]
        if kind == 2:
            return [*node[:place], value(draw), *node[place:]]
        if kind == 3:
            return draw.sample(node, len(node))
        return [*node[:place], _changed(draw, node[place], words), *node[place + 1 :]]
    return _other(draw, node)


def _other(draw: Random, node: Any) -> Any:
    """Make another value, often one of the same kind."""
    kind = draw.randrange(6)
    if isinstance(node, str) and kind < 4:
        if kind == 0 and node:
            place = draw.randrange(len(node))
            return node[:place] + draw.choice(ODD_TEXTS) + node[place:]
        return node[: draw.randrange(len(node) + 1)] if kind == 1 else draw.choice(ODD_TEXTS)
    if isinstance(node, int | float) and not isinstance(node, bool) and kind < 4:
        if kind == 0:
            return -node
        return node * draw.choice((10, 0.5, 1e6)) if kind == 1 else draw.choice(ODD_NUMBERS)
    return [node] if kind == 4 else value(draw)


def data(draw: Random, seeds: Sequence[bytes], changes: int = 0) -> bytes:
    """Change the bytes of one of some inputs in some places."""
    found = bytearray(draw.choice(seeds))
    for _ in range(changes or draw.choice((1, 1, 1, 2, 4, 8))):
        _change_bytes(draw, found, seeds)
    return bytes(found)


def _change_bytes(draw: Random, found: bytearray, seeds: Sequence[bytes]) -> None:
    kind = draw.randrange(10)
    if not found or kind == 0:
        place = draw.randrange(len(found) + 1)
        found[place:place] = draw.choice(ODD_TOKENS)
        return
    place = draw.randrange(len(found))
    if kind == 1:
        found[place] ^= 1 << draw.randrange(8)
    elif kind == 2:
        found[place] = draw.choice(ODD_BYTES)
    elif kind == 3:
        found[place] = draw.randrange(256)
    elif kind == 4:
        del found[place : place + draw.choice((1, 1, 2, 7, 40))]
    elif kind == 5:
        found[place:place] = found[place : place + draw.choice((1, 3, 16, 64))]
    elif kind == 6:
        del found[place:]
    elif kind == 7:
        other = draw.choice(seeds)
        start = draw.randrange(len(other) + 1)
        found[place : place + draw.choice((0, 4, 40))] = other[start : start + draw.randrange(60)]
    elif kind == 8:
        _change_number(draw, found, place)
    else:
        found[place:place] = bytes(draw.randrange(256) for _ in range(draw.randrange(9)))


def _change_number(draw: Random, found: bytearray, place: int) -> None:
    """Put an odd number in the place of the next one."""
    match = _NUMBER.search(bytes(found[place : place + 400]))
    if match is not None:
        odd = draw.choice((*ODD_TOKENS[:6], str(draw.choice(ODD_NUMBERS)).encode()))
        found[place + match.start() : place + match.end()] = odd


_TOML_VALUES = (
    "5", "-1", "0", "true", '""', '"x"', "[]", "{}", "[1]", '["a"]', "[[1, 2]]", "1e300", "nan",
    "inf", "-inf", "9223372036854775808", "9" * 5000, "2026-03-02", "07:30:00", "1e-320",
    '"\\u0000"',
    "2026-03-02T00:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59Z",
    "2026-03-02T07:30:00",
    '"1 s"', '"1 K"', '"9e999 s"', '"1e300 d"', "[{}]", "{ a = 1 }", '"../x"', "'''a\nb'''", "0xff",
    '"' + "x" * 300 + '"', "[" * 60 + "]" * 60, "[" * 2000, "{ a = " * 900,
    '"gun-a/nozzle"', '"Cel"',
    '"mqtt://[::1"', '"mqtt://h:99999999"', '"mqtts://u:p@h:0/x?y#z"', '"127.0.0.1:1883"', '"::1"',
    '"postgresql://"', '"influxdb+http://x:y"', '"02:60"', '"Mon"', '[["09:15", "09:30"]]', '"é😀"',
)  # fmt: skip
_TOML_VALUE = re.compile(r"^(\s*[\w.\"-]+\s*=\s*)(.+)$")
_INLINE_VALUE = re.compile(r"(=\s*)(\"[^\"]*\"|-?[\d.]+|true|false)")


def toml(draw: Random, texts: Sequence[str]) -> str:
    """Change lines of a TOML text: values, keys, headers, order; seldom its characters."""
    whole = draw.choice(texts)
    if draw.random() < 0.05:
        return whole
    lines = whole.split("\n")
    for _ in range(draw.choice((1, 1, 1, 2, 4))):
        _change_line(draw, lines)
    text = "\n".join(lines)
    if draw.random() < 0.15:
        return data(draw, [text.encode("utf-8", "replace")], 2).decode("utf-8", "replace")
    return text


def _change_line(draw: Random, lines: list[str]) -> None:
    place = draw.randrange(len(lines))
    kind = draw.randrange(10)
    found = _TOML_VALUE.match(lines[place])
    if kind < 5 and found is not None:
        inner = list(_INLINE_VALUE.finditer(lines[place]))
        hit = draw.choice(inner) if inner and draw.random() < 0.5 else found
        odd = draw.choice(_TOML_VALUES)
        lines[place] = lines[place][: hit.start(2)] + odd + lines[place][hit.end(2) :]
    elif kind == 5:
        del lines[place]
        lines.append("")
    elif kind == 6:
        lines.insert(draw.randrange(len(lines) + 1), lines[place])
    elif kind == 7:
        other = draw.randrange(len(lines))
        lines[place], lines[other] = lines[other], lines[place]
    elif kind == 8 and found is not None:
        lines[place] = draw.choice(("x", "id", "unit", "a.b", '""')) + f" = {found[2]}"
    else:
        lines.insert(
            place, draw.choice(("[x]", "[[station]]", "[[station.channel]]", "x", "=", "["))
        )


def as_json(node: Any) -> bytes:
    """Write JSON, NaN and lone surrogates included."""
    return json.dumps(node).encode()

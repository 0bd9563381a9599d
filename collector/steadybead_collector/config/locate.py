"""Where each table and key of a TOML text stands. The standard parser does not keep lines."""

import re
from collections.abc import Iterator

Path = tuple[str | int, ...]

_DEEPEST = 12  # no plant file goes deeper; a key of thousands of parts must not cost their square

_HEADER = re.compile(r"\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_KEY_PART = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)\s*""")
_SPAN = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}\n]',
    re.DOTALL,
)


class Lines:
    """Line numbers (from 1) of the tables and keys of one valid TOML text."""

    def __init__(self, text: str) -> None:
        self._line: dict[Path, int] = {(): 1}
        self._counts: dict[Path, int] = {}
        table: Path = ()
        for line, statement in _statements(text):
            header = _HEADER.match(statement.split("\n", 1)[0])
            if header is not None:
                table = self._enter(header, line)
            else:
                self._note((*table, *_key_path(statement)), line)

    def of(self, path: Path) -> int:
        """Give the line of the key, else of the nearest table around it that stands in the text."""
        while path not in self._line:
            path = path[:-1]
        return self._line[path]

    def _enter(self, header: re.Match[str], line: int) -> Path:
        path: Path = ()
        names = _key_path(header.group(2))
        for name in names[:-1]:
            path = self._inside((*path, name))
        path = (*path, names[-1])
        if header.group(1) == "[[":
            self._line.setdefault(path, line)
            self._counts[path] = self._counts.get(path, -1) + 1
            path = (*path, self._counts[path])
        self._line[path] = line
        return path

    def _inside(self, path: Path) -> Path:
        return (*path, self._counts[path]) if path in self._counts else path

    def _note(self, path: Path, line: int) -> None:
        self._line.setdefault(path, line)


def _key_path(text: str) -> tuple[str, ...]:
    """Read a possibly dotted key from the start of `text`."""
    names: list[str] = []
    at = 0
    while len(names) < _DEEPEST and (part := _KEY_PART.match(text, at)) is not None:
        names.append(part.group(1).strip("\"'"))
        at = part.end()
        if text[at : at + 1] != ".":
            break
        at += 1
    return tuple(names)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Walk headers and assignments with their first line; strings and brackets span lines."""
    start, depth, line, first_line = 0, 0, 1, 1
    for token in _SPAN.finditer(text + "\n"):
        mark = token.group()
        if mark in "[{":
            depth += 1
        elif mark in "]}":
            depth -= 1
        elif mark == "\n" and depth <= 0:
            statement = text[start : token.start()]
            if statement.strip() and not statement.lstrip().startswith("#"):
                yield first_line, statement
            start, depth, first_line = token.end(), 0, line + 1
        line += mark.count("\n")

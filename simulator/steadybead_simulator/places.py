"""Where things stand in a TOML text, so that a message can name the line."""

import re
import sys
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from steadybead_domain.errors import one_line

Path = tuple[str | int, ...]
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"""\s*((?:[A-Za-z0-9_.-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")


class FileError(ValueError):
    """A file that cannot be used; the message names file, line and remedy."""


class Places:
    """Line numbers, from 1, of the tables and keys of a TOML text."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        counts: dict[Path, int] = {}
        table: Path = ()
        for number, line in enumerate(text.splitlines(), 1):
            if (header := _HEADER.match(line)) is not None:
                table = _table(header, counts)
                self._lines.setdefault(table, number)
            elif (key := _KEY.match(line)) is not None:
                names = tuple(part.strip().strip("\"'") for part in key[1].split("."))
                self._lines.setdefault((*table, *names), number)

    def line(self, path: Sequence[str | int]) -> int:
        """Give the line of a path, or of the nearest thing around it; 1 for the whole file."""
        for end in range(len(path), 0, -1):
            if (found := self._lines.get(tuple(path[:end]))) is not None:
                return found
        return 1


def _table(header: re.Match[str], counts: dict[Path, int]) -> Path:
    """Turn `[[station.channel]]` into a path with the index of each array's last member."""
    names = [part.strip().strip("\"'") for part in header[2].split(".")]
    path: Path = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        last = depth == len(names) - 1
        if last and header[1] == "[[":
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


class Document:
    """A TOML text with its name and places; `fail` raises FileError at a path's line."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.places = Places(text)
        try:
            self.data: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise FileError(f"{name}: no TOML: {error}") from None
        except (ValueError, RecursionError):
            message = "no TOML: a number of thousands of digits, or nested too deeply"
            raise FileError(f"{name}: {message}") from None

    def table(self, path: Path, data: Mapping[str, Any]) -> dict[str, Any]:
        """Give the table that is the last name of `path` in `data`, {} if it is left out."""
        value = data.get(str(path[-1]), {})
        if not isinstance(value, dict):
            raise self.fail(path, f"{path[-1]} is a table: write [{path[-1]}] or {{ … }}")
        return value

    def tables(self, path: Path, data: Mapping[str, Any]) -> list[dict[str, Any]]:
        """Give the list of tables that is the last name of `path` in `data`, [] if left out."""
        value = data.get(str(path[-1]), [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.fail(path, f"{path[-1]} is a list of tables: write [[{path[-1]}]]")
        return value

    def number(self, path: Path, data: Mapping[str, Any]) -> float | None:
        """Give the number above 0 that is the last name of `path` in `data`, None if left out."""
        value = data.get(str(path[-1]))
        if value is None:
            return None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not 0.0 < value <= sys.float_info.max:  # whole ones have no bound
            raise self.fail(path, f"{path[-1]} is a number above 0")
        return float(value)

    def fail(self, path: Sequence[str | int], message: str) -> FileError:
        """Build the error for `raise`."""
        return FileError(f"{self.name}, line {self.places.line(path)}: {one_line(message)}")

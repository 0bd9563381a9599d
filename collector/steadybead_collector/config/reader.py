"""Reading of one table: types, unknown keys and missing keys, each mistake noted once."""

import difflib
import math
import sys
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from steadybead_collector.config.locate import Lines, Path
from steadybead_collector.config.problems import Problem

T = TypeVar("T")
MOST_PROBLEMS = 500


class Notes:
    """Collects the mistakes of one file with their lines, each once and MOST_PROBLEMS at most."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._noted: dict[Problem, None] = {}

    @property
    def problems(self) -> list[Problem]:
        """Give the mistakes in the order in which they were found."""
        return list(self._noted)

    @property
    def full(self) -> bool:
        """Tell whether nothing more is noted."""
        return len(self._noted) >= MOST_PROBLEMS

    def add(self, path: Path, message: str, remedy: str) -> None:
        """Note a mistake at a key or table."""
        if not self.full:
            self._noted[Problem(self._lines.of(path), message, remedy)] = None


class Table:
    """One table of the file; `where` names it in messages, `path` finds its line."""

    def __init__(self, data: Any, path: Path, where: str, notes: Notes) -> None:
        self.path, self.where, self.notes = path, where, notes
        if not isinstance(data, Mapping):
            notes.add(path, f"{where} is not a table", f"write it as [{where}] with keys below")
            data = {}
        self.data: Mapping[str, Any] = data

    def has(self, key: str) -> bool:
        """Tell whether the key stands in the table."""
        return key in self.data

    def fault(self, key: str, message: str, remedy: str) -> None:
        """Note a mistake at a key of this table, or at the table if it lacks the key."""
        self.notes.add((*self.path, key), f"{self.where}: {message}", remedy)

    def only(self, allowed: Iterable[str]) -> None:
        """Note every key that is not one of `allowed`, with the nearest known name."""
        names = list(allowed)
        for key in self.data:
            if key not in names and not self.notes.full:
                self.fault(key, f"unknown key {shown(key)}", nearest(key, names))

    def text(self, key: str, *, required: bool = False) -> str | None:
        """Read a text that is not empty."""
        value = self._value(key, required)
        if value is None or (isinstance(value, str) and value.strip()):
            return value
        self.fault(key, f"{key} is not a text", f'write {key} = "…"')
        return None

    def number(self, key: str, *, required: bool = False, above: float | None = None) -> float:
        """Read a finite number; NaN where it is missing or wrong (a wrong one is noted)."""
        value = self._value(key, required)
        if value is None:
            return math.nan
        wrong = isinstance(value, bool) or not isinstance(value, int | float)
        if wrong or not abs(value) <= sys.float_info.max:  # whole numbers have no bound in TOML
            self.fault(key, f"{key} is not a number", f"write {key} = 1.5 or the like")
            return math.nan
        if above is not None and value <= above:
            self.fault(key, f"{key} is {value:g}", f"write a number above {above:g}")
            return math.nan
        return float(value)

    def flag(self, key: str) -> bool | None:
        """Read true or false; None where it is not said."""
        value = self._value(key, required=False)
        if value is None or isinstance(value, bool):
            return value
        self.fault(key, f"{key} is neither true nor false", f"write {key} = true")
        return None

    def texts(self, key: str) -> tuple[str, ...]:
        """Read a list of texts; empty where it is missing."""
        value = self._value(key, required=False)
        if value is None:
            return ()
        if isinstance(value, list) and value and all(isinstance(v, str) and v for v in value):
            return tuple(value)
        self.fault(key, f"{key} is not a list of texts", f'write {key} = ["…", "…"]')
        return ()

    def choice(self, key: str, make: Callable[[str], T], names: Iterable[str]) -> T | None:
        """Read one of the given words; None where it is missing or wrong."""
        word = self.text(key)
        if word is None:
            return None
        known = list(names)
        if word not in known:
            self.fault(key, f"{key} {shown(word)} is unknown", nearest(word, known))
            return None
        return make(word)

    def table(self, key: str, where: str) -> "Table":
        """Open a table inside this one; a missing one is empty."""
        return Table(self.data.get(key, {}), (*self.path, key), where, self.notes)

    def _value(self, key: str, required: bool) -> Any:
        if key not in self.data and required:
            self.fault(key, f"{key} is missing", f"add {key} = …")
        return self.data.get(key)


def shown(text: object) -> str:
    """Quote a text of the file for a message, cut to a length that stays readable."""
    whole = repr(text)
    return whole if len(whole) <= 60 else whole[:56] + "…'"


def nearest(word: str, known: Iterable[str]) -> str:
    """Give the remedy for an unknown word: the nearest known one, else all of them."""
    names = list(known)
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    return f"did you mean {close[0]}?" if close else f"use one of: {', '.join(names)}"

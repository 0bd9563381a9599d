"""Packs that look alike are read alike: the second pack of a form costs a fraction of the first.

A device sends the same channels in the same units again and again. The form of a pack (which
labels, names and units its records have, in order) is learnt from one that passed every rule, and
the next of that form needs only its numbers and times looked at. Anything unusual goes the long
way, record by record, where every rule is applied and every refusal gets its word.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np

from steadybead_collector.mqtt.senml_record import MICROSECONDS, Record
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.times import FURTHEST_AHEAD, OLDEST_ABSOLUTE

if TYPE_CHECKING:
    from steadybead_collector.ingest.slots import Slot

MOST_SHAPES = 16  # a station that sends more forms than this sends the others the long way
MOST_RECORDS = 1000
_NUMBERS = frozenset({float, int})
_RECORD = frozenset({"n", "u", "t", "v"})
_FIRST = _RECORD | {"bn", "bt", "bu", "bver"}
_SETTING = ("bn", "bu", "bver")
_VALUES: Callable[[dict[str, Any]], Any] = itemgetter("v")


@dataclass(frozen=True, slots=True)
class Form:
    """What packs of one form have in common: labels, name and unit of each record, what it sets."""

    records: list[tuple[object, ...]]
    setting: list[object]

    def fits(self, items: list[dict[str, Any]]) -> bool:
        """Tell whether a pack has this form. TypeError, AttributeError, KeyError if it has none."""
        return self.records == _told(items) and self.setting == list(map(items[0].get, _SETTING))

    @classmethod
    def of(cls, items: list[dict[str, Any]]) -> "Form":
        """Take the form of a pack."""
        return cls(_told(items), list(map(items[0].get, _SETTING)))


@dataclass(slots=True)
class Shape:
    """One form of pack of m records, and the packs of it that wait for conversion.

    `columns` gives for each slot the records of a pack that are its, in order.
    """

    form: "Form"
    columns: list[tuple["Slot", list[int]]]
    has_times: bool
    packs: list[int] = field(default_factory=list)
    times: list[Any] = field(default_factory=list)  # µs a pack, or a list of m of them
    values: list[list[float]] = field(default_factory=list)

    def add(self, pack: int, times: Any, values: list[float]) -> None:
        """Keep a pack's numbers until they are gathered."""
        self.packs.append(pack)
        self.times.append(times)
        self.values.append(values)

    def gather(self) -> list[tuple["Slot", Int64, Float64, Int64]]:
        """Give the rows by slot, each (time, value, pack) in order of arrival; and forget them."""
        packs = np.array(self.packs, np.int64)
        times, values = np.array(self.times, np.int64), np.array(self.values, np.float64)
        self.packs, self.times, self.values = [], [], []
        return [(slot, *_rows(packs, times, values, own)) for slot, own in self.columns]


@dataclass(frozen=True, slots=True)
class Shaped:
    """A pack that fits a known form: its times (µs, one or one a record) and its numbers."""

    shape: Shape
    times: Any
    values: list[float]


class Shapes:
    """The forms of pack that one station is known to send, the latest one first."""

    def __init__(self, slots: Mapping[str, "Slot"]) -> None:
        self._slots = slots
        self._known: list[Shape] = []

    def fit(self, items: Any, received: int) -> Shaped | None:
        """Read a pack of a known form; None: go the long way. `received` in µs."""
        if not self._known or type(items) is not list or not items:
            return None
        try:
            shape = self._find(items)
            if shape is None:
                return None
            values = list(map(_VALUES, items))
            total = sum(values)
            if not _NUMBERS.issuperset(map(type, values)) or total - total != 0.0:
                return None
            times = _times(items, has_times=shape.has_times)
        except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
            return None
        low, high = (min(times), max(times)) if shape.has_times else (times, times)
        if low < OLDEST_ABSOLUTE or high > received + FURTHEST_AHEAD:
            return None
        return Shaped(shape, times, values)

    def _find(self, items: list[dict[str, Any]]) -> Shape | None:
        known = self._known
        for place, shape in enumerate(known):
            if shape.form.fits(items):
                if place:
                    known.insert(0, known.pop(place))
                return shape
        return None

    def learn(self, items: Any, records: Sequence[Record]) -> None:
        """Remember the form of a pack that passed: each item a record of a known channel."""
        if len(self._known) >= MOST_SHAPES or not 0 < len(items) == len(records) <= MOST_RECORDS:
            return
        if not _is_plain(items):
            return
        columns: dict[str, tuple[Slot, list[int]]] = {}
        for place, (_, name, unit, _, value, _) in enumerate(records):
            slot = self._slots.get(name)
            if slot is None or type(value) is not float:
                return
            if unit is not None and unit != slot.channel.wire_unit:
                return
            columns.setdefault(name, (slot, []))[1].append(place)
        has_times = any("t" in item for item in items)
        self._known.append(Shape(Form.of(items), list(columns.values()), has_times))

    def gather(self) -> list[tuple["Slot", Int64, Float64, Int64]]:
        """Give what waits in all forms, by slot."""
        return [rows for shape in self._known if shape.packs for rows in shape.gather()]


def _told(items: Sequence[dict[str, Any]]) -> list[tuple[object, ...]]:
    """Give the labels of each record with its name and unit. KeyError without a name."""
    return [(*item, item["n"], item.get("u")) for item in items]


def _is_plain(items: Sequence[dict[str, Any]]) -> bool:
    rest = all(item.keys() <= _RECORD for item in items[1:])
    return rest and items[0].keys() <= _FIRST and all("n" in i and "v" in i for i in items)


def _times(items: list[dict[str, Any]], *, has_times: bool) -> Any:
    base = items[0].get("bt", 0)
    if type(base) not in _NUMBERS:
        raise TypeError
    base_us = round(base * MICROSECONDS)
    if not has_times:
        return base_us
    times = [item.get("t", 0) for item in items]
    if not _NUMBERS.issuperset(map(type, times)):
        raise TypeError
    return [base_us + round(time * MICROSECONDS) for time in times]


def _rows(
    packs: Int64, times: Int64, values: Float64, own: list[int]
) -> tuple[Int64, Float64, Int64]:
    if len(own) == 1:
        time = times if times.ndim == 1 else np.ascontiguousarray(times[:, own[0]])
        return time, np.ascontiguousarray(values[:, own[0]]), packs
    time = np.repeat(times, len(own)) if times.ndim == 1 else times[:, own].ravel()
    return time, values[:, own].ravel(), np.repeat(packs, len(own))

"""What maintenance does to a filter, as it stands in the records."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Self

from steadybead_domain.ids import StationId
from steadybead_domain.times import (
    FURTHEST_AHEAD,
    OLDEST_ABSOLUTE,
    format_rfc3339,
    parse_rfc3339,
)

MOST_NOTE = 200


class FilterWork(StrEnum):
    """What was done to the intake filter."""

    CHANGED = "changed"
    TAPPED_OUT = "tapped out"
    INSPECTED = "inspected"


@dataclass(frozen=True, slots=True)
class FilterChange:
    """Work on the intake filter of a station; `time` (µs) is when it was done.

    It is never overwritten. `entered` is when `author` told of it.
    """

    station: StationId
    time: int
    kind: FilterWork = FilterWork.CHANGED
    id: str = ""
    author: str = ""
    entered: int = 0
    note: str = ""

    @property
    def begins_anew(self) -> bool:
        """Tell whether the forecast begins anew; a mere look at the filter changes nothing."""
        return self.kind is not FilterWork.INSPECTED

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        return {
            "id": self.id,
            "station": str(self.station),
            "time": format_rfc3339(self.time),
            "kind": self.kind.value,
            "note": self.note,
            "author": self.author,
            "entered": format_rfc3339(self.entered),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """Read what `to_json` wrote; KeyError, TypeError or ValueError for anything else."""
        return cls(
            StationId.parse(data["station"]),
            parse_rfc3339(data["time"]),
            FilterWork(data["kind"]),
            data["id"],
            data["author"],
            parse_rfc3339(data["entered"]),
            data["note"],
        )


@dataclass(frozen=True, slots=True)
class Drop:
    """A mean pressure drop while air goes, with the flow of all guns; None: not measured."""

    drop_pa: float
    flow_l_min: float | None


def change_problems(change: FilterChange, now: int) -> list[tuple[str, str]]:
    """Give what is wrong with an entry, as (field, remedy)."""
    found = []
    if change.time > now + FURTHEST_AHEAD:
        found.append(("time", "lies ahead: enter when it was done"))
    if change.time < OLDEST_ABSOLUTE:
        found.append(("time", "lies before 2020: enter when it was done"))
    if len(change.note) > MOST_NOTE:
        found.append(("note", f"is longer than {MOST_NOTE} characters: shorten it"))
    return found

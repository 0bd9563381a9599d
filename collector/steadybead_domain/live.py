"""What the collector says of a station now: the payload of the topic `live`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple, Self

from steadybead_domain.ids import StationId
from steadybead_domain.times import format_rfc3339, parse_rfc3339


class GunState(StrEnum):
    """What a gun is doing, as far as its channels can tell."""

    OFF = "off"
    WARMING = "warming"
    READY = "ready"
    HOT = "hot"
    WELDING = "welding"
    COOLING = "cooling"
    NO_DATA = "no data"


class Fitness(StrEnum):
    """Whether a station is fit to weld. It never says that a gun is safe to touch."""

    FIT = "fit"
    NOT_FIT = "not fit"
    NO_DATA = "no data"


class LiveValue(NamedTuple):
    """The last value of one channel; `low` and `high` are the procedure's window, if any.

    A tuple, since thousands a second are made and compared.
    """

    channel: str
    quantity: str
    time: int
    value: float | None
    unit: str
    quality: str
    reason: str = ""
    low: float | None = None
    high: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        return {
            "channel": self.channel,
            "quantity": self.quantity,
            "time": format_rfc3339(self.time),
            "value": self.value,
            "unit": self.unit,
            "quality": self.quality,
            "reason": self.reason,
            "low": self.low,
            "high": self.high,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """Read what `to_json` wrote."""
        return cls(
            data["channel"],
            data["quantity"],
            parse_rfc3339(data["time"]),
            data["value"],
            data["unit"],
            data["quality"],
            data.get("reason", ""),
            data.get("low"),
            data.get("high"),
        )


@dataclass(frozen=True, slots=True)
class LiveGun:
    """One gun now; `weld` is the running record, `procedure` what it is held to."""

    gun: str
    state: GunState
    since: int
    weld: str | None = None
    procedure: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        return {
            "gun": self.gun,
            "state": self.state.value,
            "since": format_rfc3339(self.since),
            "weld": self.weld,
            "procedure": self.procedure,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """Read what `to_json` wrote."""
        return cls(
            data["gun"],
            GunState(data["state"]),
            parse_rfc3339(data["since"]),
            data["weld"],
            data["procedure"],
        )


@dataclass(frozen=True, slots=True)
class LiveStation:
    """A station now. `reasons` are words for people, empty when fit."""

    station: StationId
    time: int
    fitness: Fitness
    reasons: tuple[str, ...] = ()
    guns: tuple[LiveGun, ...] = ()
    values: tuple[LiveValue, ...] = field(default=())

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        return {
            "station": str(self.station),
            "time": format_rfc3339(self.time),
            "fitness": self.fitness.value,
            "reasons": list(self.reasons),
            "guns": [g.to_json() for g in self.guns],
            "values": [v.to_json() for v in self.values],
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """Read what `to_json` wrote; KeyError, TypeError or ValueError if it is something else."""
        return cls(
            StationId.parse(data["station"]),
            parse_rfc3339(data["time"]),
            Fitness(data["fitness"]),
            tuple(data["reasons"]),
            tuple(LiveGun.from_json(g) for g in data["guns"]),
            tuple(LiveValue.from_json(v) for v in data["values"]),
        )

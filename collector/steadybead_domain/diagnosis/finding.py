"""What a diagnosis concludes, with its numbers."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Self

from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.times import format_rfc3339, parse_rfc3339

OVER = "_over"  # ends the kind of a finding that tells that another one is over


class Sureness(StrEnum):
    """How far a finding goes."""

    CERTAIN = "certain"
    LIKELY = "likely"
    POSSIBLE = "possible"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Finding:
    """One conclusion. (`kind`, `station`, `gun`, `channel`, `since`) identifies it.

    `time` is when the readings allowed it, `since` when what it speaks of began. `value` was
    compared with `reference`; `sigma` is the spread it was judged by, `threshold` the limit that
    it passed, all in `unit`. `words` say what was seen, `next_step` what to do. `evidence` holds
    further numbers by name. None where a number does not apply.
    """

    kind: str
    station: StationId
    gun: str | None
    channel: ChannelId | None
    time: int
    since: int
    words: str
    next_step: str
    sureness: Sureness
    value: float | None = None
    reference: float | None = None
    sigma: float | None = None
    threshold: float | None = None
    unit: str = ""
    evidence: tuple[tuple[str, float | str | None], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        return {
            "kind": self.kind,
            "station": str(self.station),
            "gun": self.gun,
            "channel": None if self.channel is None else str(self.channel),
            "time": format_rfc3339(self.time),
            "since": format_rfc3339(self.since),
            "words": self.words,
            "next_step": self.next_step,
            "sureness": self.sureness.value,
            "value": self.value,
            "reference": self.reference,
            "sigma": self.sigma,
            "threshold": self.threshold,
            "unit": self.unit,
            "evidence": dict(self.evidence),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """Read what `to_json` wrote."""
        members = {name: data[name] for name in cls.__slots__}
        channel = data["channel"]
        members |= {
            "station": StationId.parse(data["station"]),
            "channel": None if channel is None else ChannelId.parse(channel),
            "time": parse_rfc3339(data["time"]),
            "since": parse_rfc3339(data["since"]),
            "sureness": Sureness(data["sureness"]),
            "evidence": tuple(data["evidence"].items()),
        }
        return cls(**members)

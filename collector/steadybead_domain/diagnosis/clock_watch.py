"""The station's clock beside the collector's."""

from collections.abc import Iterator, Mapping
from typing import Any

from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.ids import StationId
from steadybead_domain.times import HOUR, SECOND

AHEAD = 2 * SECOND
BEHIND = 60 * SECOND
HOURS = 2


class ClockWatch:
    """Sees when readings were received and what time the newest of them carries.

    The smallest lag of each hour is what the clock is off by, plus the fastest transport: below
    −2 s the clock is ahead, above 60 s it is behind or everything comes late. Told after 2 hours
    in a row, once until it is right again. Not detectable: an offset below those limits. It
    depends on the times of receipt, so a replay needs those too.
    """

    def __init__(self, station: StationId) -> None:
        self.station = station
        self.hour: int | None = None
        self.least = 0
        self.off = 0
        self.since = 0
        self.told = False

    def note(self, received: int, newest: int) -> list[Finding]:
        """Take one receipt (µs) and its newest reading's time; give the findings it allows."""
        found: list[Finding] = []
        hour = received // HOUR
        if self.hour is not None and hour != self.hour:
            found = list(self._close((self.hour + 1) * HOUR))
        lag = received - newest
        self.least = lag if hour != self.hour else min(self.least, lag)
        self.hour = hour
        return found

    def _close(self, time: int) -> Iterator[Finding]:
        if -AHEAD <= self.least <= BEHIND:
            self.off, self.told = 0, False
            return
        if self.off == 0:
            self.since = time - HOUR
        self.off += 1
        if self.off >= HOURS and not self.told:
            self.told = True
            yield self._finding(time)

    def _finding(self, time: int) -> Finding:
        seconds = self.least / SECOND
        says = f"{-seconds:.0f} s ahead" if seconds < 0 else f"{seconds:.0f} s behind, or late"
        return Finding(
            "clock_offset",
            self.station,
            None,
            None,
            time,
            self.since,
            f"the station's clock is {says}, at the fastest message of two hours.",
            "Set the logger's clock, or let it follow a time server; look at its network link.",
            Sureness.LIKELY,
            -seconds,
            0.0,
            None,
            AHEAD / SECOND if seconds < 0 else BEHIND / SECOND,
            "s",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {name: getattr(self, name) for name in ("hour", "least", "off", "since", "told")}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.hour, self.least = data["hour"], int(data["least"])
        self.off, self.since, self.told = int(data["off"]), int(data["since"]), bool(data["told"])

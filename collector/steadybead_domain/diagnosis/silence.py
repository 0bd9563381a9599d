"""Silence: a channel, or the whole station, from which no reading comes; and a station off line.

One cause is one alarm. When the whole station falls silent or goes off line, its channels raise
nothing of their own, and what they had raised is suppressed.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.diagnosis.steps import Bool, changes, latch
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Station
from steadybead_domain.readings import Int64
from steadybead_domain.times import SECOND

COMPANY = 5 * SECOND  # a channel is silent alone only while another was heard so lately


@dataclass(frozen=True, slots=True)
class Online:
    """What the topic `online` said of a station."""

    station: StationId
    time: int
    online: bool


@dataclass(slots=True)
class OnlineTimes:
    """Whether the station is on line at each step; not known counts as on line."""

    online: bool = True
    waiting: list[Online] = field(default_factory=list)

    @property
    def newest(self) -> bool:
        """Tell the last word, judged or not."""
        return self.waiting[-1].online if self.waiting else self.online

    def note(self, said: Online) -> None:
        """Take what was said."""
        self.waiting.append(said)
        self.waiting.sort(key=lambda o: o.time)

    def column(self, start: int, n: int) -> Bool:
        """Give the steps start … start+n-1; a late word holds from the first."""
        column = np.full(n, self.online)
        while self.waiting and self.waiting[0].time < (start + n) * STEP:
            said = self.waiting.pop(0)
            column[max(0, said.time // STEP - start) :] = said.online
            self.online = said.online
        return column

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {"online": self.online, "waiting": [[o.time, o.online] for o in self.waiting]}

    def load(self, data: Mapping[str, Any], station: StationId) -> None:
        """Take up what `dump` gave."""
        self.online = bool(data["online"])
        self.waiting = [Online(station, time, online) for time, online in data["waiting"]]


class Silence:
    """Needs nothing but the times at which channels were heard."""

    def __init__(self, station: Station) -> None:
        self.limits = {c.id.channel: round(c.silence_s * SECOND) for c in station.channels}
        self.least = min(self.limits.values(), default=30 * SECOND)
        self.begun: int | None = None
        self.codes: dict[str, int] = {}

    def update(
        self, end: Int64, heard: Mapping[str, Int64], online: Bool, hot: Bool
    ) -> Iterator[Change]:
        """Give the changes of a block.

        `heard` int64 [n] per channel, the newest reading's time; `hot` bool [n]: a gun was hot
        when it was last known.
        """
        if self.begun is None:
            self.begun = int(end[0]) - STEP
        if not any(self.codes.values()) and self._all_speak(end, heard) and online.all():
            return
        known = {name: np.maximum(times, self.begun) for name, times in heard.items()}
        newest = np.maximum.reduce(list(known.values()))
        quiet = end - newest
        off = ~online
        station_silent = (quiet >= self.least) & online
        offline = _codes(off, np.zeros_like(off))
        for change in self._told("station_offline", None, offline, end):
            yield _graded(change, end, hot)
        silence = _codes(station_silent, np.zeros_like(off))
        for change in self._told("station_silent", None, silence, end, (newest, self.least)):
            yield _graded(change, end, hot)
        muted = off | station_silent
        for name, times in known.items():
            limit = self.limits[name]
            silent = end - times >= limit
            lonely = silent & (quiet < COMPANY) & online
            active = latch(lonely, ~silent, self.codes.get(f"channel_silent {name}", 0) > 0)
            codes = _codes(active, muted)
            yield from self._told("channel_silent", name, codes, end, (times, limit))

    def _all_speak(self, end: Int64, heard: Mapping[str, Int64]) -> bool:
        """Tell whether nothing is silent at any step: the usual case, told without columns."""
        first, last = min((int(t[0]) for t in heard.values()), default=0), int(end[-1])
        return last - max(first, self.begun or 0) < self.least

    def _told(
        self,
        kind: str,
        channel: str | None,
        codes: Int64,
        end: Int64,
        heard: tuple[Int64, int] | None = None,
    ) -> Iterator[Change]:
        key = kind if channel is None else f"{kind} {channel}"
        times, limit = heard or (end, 0)
        for i in changes(codes, self.codes.get(key, 0)):
            is_active = bool(codes[i] != 0)
            due = int(times[i]) + limit
            inside = is_active and int(end[i]) - STEP < due <= int(end[i])
            yield Change(
                due if inside else int(end[i]),
                kind,
                is_active,
                channel=channel,
                limit=limit / SECOND if limit else None,
                unit="s" if limit else "",
                suppressed=bool(codes[i] == 2),
            )
        self.codes[key] = int(codes[-1])

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {"begun": self.begun, "codes": self.codes}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave, without channels that are gone."""
        self.begun = data["begun"]
        self.codes = {
            key: int(code)
            for key, code in data["codes"].items()
            if " " not in key or key.split(" ", 1)[1] in self.limits
        }


def _graded(change: Change, end: Int64, hot: Bool) -> Change:
    step = int(np.searchsorted(end, change.time, "left"))
    return replace(change, kind=f"{change.kind}_hot") if hot[step] else change


def _codes(active: Bool, muted: Bool) -> Int64:
    return np.where(active, np.where(muted, 2, 1), 0).astype(np.int64)

"""What is heard of each channel of the plant file, and how each station's clock stands."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from steadybead_api.findings import Findings
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.wiring import hint_text
from steadybead_domain.ids import ChannelId, StationId, by_station
from steadybead_domain.plant import Channel
from steadybead_domain.readings import Reading
from steadybead_domain.times import MINUTE, SECOND

State = Literal["heard", "silent", "never heard"]
AHEAD: Final = SECOND // 2  # below that, clocks and the network explain each other


@dataclass(frozen=True, slots=True)
class HeardChannel:
    """A channel with its newest reading; `per_second` is how often it came in its last minute.

    `hint` names a likely mistake of wiring, empty where none is seen.
    """

    channel: Channel
    reading: Reading | None
    per_second: float | None
    hint: str
    state: State


@dataclass(frozen=True, slots=True)
class HeardStation:
    """A station's channels counted; `clock_ahead_s` is positive where its clock is ahead.

    None where no offset is known; `clock_words` is then empty.
    """

    station: StationId
    channels: int
    heard: int
    last_heard: int | None
    clock_ahead_s: float | None
    clock_words: str


def heard_channels(services: Services, station: StationId | None = None) -> list[HeardChannel]:
    """Give the channels of one station or of all, in the plant file's order."""
    channels = [c for c in services.plant().channels() if station in (None, c.id.station_id)]
    latest = services.readings.latest([c.id for c in channels])
    measuring, now = Measuring(services), services.clock()
    return [_heard(services, measuring, c, latest.get(c.id), now) for c in channels]


def heard_stations(services: Services, heard: Sequence[HeardChannel]) -> list[HeardStation]:
    """Sum the channels up by station; both in the plant file's order."""
    told = {
        s.finding.station: s.finding
        for s in Findings(services).open()
        if s.finding.kind == "clock_offset"
    }
    found, now = [], services.clock()
    of_station = by_station(heard, lambda h: h.channel.id)
    for station in services.plant().stations:
        own = of_station.get(station.id, [])
        if not own:
            continue
        times = [h.reading.time for h in own if h.reading is not None]
        newest = max(times, default=None)
        finding = told.get(station.id)
        ahead = None if newest is None or newest - now < AHEAD else (newest - now) / SECOND
        if finding is not None:
            ahead = finding.value
        words = "" if finding is None else finding.words
        on = sum(h.state == "heard" for h in own)
        found.append(HeardStation(station.id, len(own), on, newest, ahead, words))
    return found


def _heard(
    services: Services, measuring: Measuring, channel: Channel, reading: Reading | None, now: int
) -> HeardChannel:
    if reading is None:
        return HeardChannel(channel, None, None, "", "never heard")
    silent = now - reading.time > channel.silence_s * SECOND
    hint = "" if silent else hint_text(services, measuring, channel, now)
    rate = _per_second(services, channel.id, reading.time)
    return HeardChannel(channel, reading, rate, hint, "silent" if silent else "heard")


def _per_second(services: Services, channel: ChannelId, newest: int) -> float | None:
    """Tell how often it came in the minute up to its newest reading; None for a single one."""
    parts: Iterable[np.ndarray] = (
        p.time for p in services.readings.read(channel, newest - MINUTE, newest + 1)
    )
    times = np.concatenate([np.empty(0, np.int64), *parts])
    if len(times) < 2:
        return None
    return float(len(times) - 1) / ((int(times[-1]) - int(times[0])) / SECOND)

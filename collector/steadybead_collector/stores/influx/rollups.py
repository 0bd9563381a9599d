"""The writer's part of rollups: marking what is stale before readings change, making it afresh.

A span is marked before its first reading is written and again whenever readings come to one
that was made. So a reader may trust any rollup that is not stale, and where there is none there
is no reading.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.influx import lines, questions
from steadybead_collector.stores.influx.fill import runs
from steadybead_collector.stores.influx.questions import SPANS, Rollup
from steadybead_collector.stores.influx.server import Server
from steadybead_collector.stores.summary import NOTHING, Summary, summarise_parts
from steadybead_collector.stores.windows import WINDOW, WINDOWS_A_DAY
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns
from steadybead_domain.times import MINUTE

QUIET = MINUTE
_COARSE = ("1h", "1d")


class Rollups:
    """Which windows of which channel wait for a rollup. Not safe for threads."""

    def __init__(self, server: Server, place: str) -> None:
        self._server = server
        self._waiting: dict[ChannelId, dict[int, int]] = {}
        for channel, window in questions.stale_windows(server, place):
            self._waiting.setdefault(channel, {})[window] = -lines.TIME_LIMIT

    def marks(self, flat: Flat) -> list[str]:
        """Write the marks that must be on the server before these readings are."""
        found: list[str] = []
        for channel, windows in _windows_of(flat):
            waiting = self._waiting.get(channel, {})
            fresh = [w * WINDOW for w in windows if w not in waiting]
            for span, length in SPANS.items():
                starts = dict.fromkeys(start // length * length for start in fresh)
                found += [lines.state_line(channel, span, start, lines.STALE) for start in starts]
        return found

    def touch(self, flat: Flat, received: int) -> None:
        """Note that the windows of these readings are marked and wait."""
        for channel, windows in _windows_of(flat):
            self._waiting.setdefault(channel, {}).update(dict.fromkeys(windows, received))

    def work(self, now: int) -> bool:
        """Make the rollups of one channel's day, if any is over and quiet; True if more waits."""
        for channel, waiting in self._waiting.items():
            due = _due(waiting, now)
            if due:
                day = due[0] // WINDOWS_A_DAY
                self._make(channel, [w for w in due if w // WINDOWS_A_DAY == day])
                return True
        return False

    def seal(self, channel: ChannelId, before: int) -> None:
        """Make all rollups of windows that ended by `before`, whatever else waits."""
        waiting = sorted(w for w in self._waiting.get(channel, ()) if (w + 1) * WINDOW <= before)
        for day in dict.fromkeys(w // WINDOWS_A_DAY for w in waiting):
            self._make(channel, [w for w in waiting if w // WINDOWS_A_DAY == day])

    def _make(self, channel: ChannelId, windows: Sequence[int]) -> None:
        fresh: dict[tuple[str, int], Summary] = {}
        for first, last in runs(windows, gap=6):
            found = _summaries(self._server, channel, first, last)
            inside = (w for w in windows if first <= w <= last)
            fresh |= {("10m", w * WINDOW): found.get(w, NOTHING) for w in inside}
        self._write(channel, fresh)
        self._coarse(channel, windows[0] // WINDOWS_A_DAY)
        waiting = self._waiting[channel]
        for window in windows:
            waiting.pop(window, None)
        if not waiting:
            del self._waiting[channel]

    def _coarse(self, channel: ChannelId, day: int) -> None:
        """Make the hours, and the day, of which no window is stale."""
        first = day * WINDOWS_A_DAY
        found = list(
            questions.rollups(self._server, channel, "10m", first, first + WINDOWS_A_DAY - 1)
        )
        fresh: dict[tuple[str, int], Summary] = {}
        for span in _COARSE:
            length = SPANS[span]
            groups: dict[int, list[Rollup]] = {}
            for item in found:
                groups.setdefault(item.number * WINDOW // length, []).append(item)
            for number, group in groups.items():
                part = _merged(group)
                if part is not None:
                    fresh[span, number * length] = part
        if fresh:
            self._write(channel, fresh)

    def _write(self, channel: ChannelId, fresh: Mapping[tuple[str, int], Summary]) -> None:
        """Write figures, and only then that they count: readers see fields one by one."""
        figures = (lines.rollup_line(channel, *at, part) for at, part in fresh.items())
        self._server.write("\n".join(figures))
        states = (lines.state_line(channel, *at, lines.VALID) for at in fresh)
        self._server.write("\n".join(states))


def _windows_of(flat: Flat) -> Iterator[tuple[ChannelId, list[int]]]:
    for i, name in enumerate(flat.names):
        yield name, np.unique(flat.of(i).time // WINDOW).tolist()


def _due(waiting: dict[int, int], now: int) -> list[int]:
    return sorted(
        window
        for window, touched in waiting.items()
        if (window + 1) * WINDOW + QUIET <= now and touched + QUIET <= now
    )


def _summaries(server: Server, channel: ChannelId, first: int, last: int) -> dict[int, Summary]:
    found: dict[int, Summary] = {}
    for rows in questions.pages(server, channel, first * WINDOW, (last + 1) * WINDOW):
        for window, part in _parts(rows):
            found[window] = found[window] | part if window in found else part
    return found


def _parts(rows: Columns) -> Iterable[tuple[int, Summary]]:
    windows = rows.time // WINDOW
    starts = np.flatnonzero(np.diff(windows, prepend=windows[0] - 1))
    return zip(windows[starts].tolist(), summarise_parts(rows, starts).summaries(), strict=True)


def _merged(group: Sequence[Rollup]) -> Summary | None:
    total: Summary | None = None
    for item in group:
        if item.part is None:
            return None
        total = item.part if total is None else total | item.part
    return total

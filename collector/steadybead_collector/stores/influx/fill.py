"""Filling buckets from rollups of the server and, where stale or cut, from readings."""

from collections.abc import Iterable, Iterator

from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.influx import lines, questions
from steadybead_collector.stores.influx.questions import SPANS, Rollup
from steadybead_collector.stores.influx.server import Server
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.ids import ChannelId

_LEVELS = tuple(SPANS.items())


def fill(server: Server, channel: ChannelId, filling: Filling) -> None:
    """Fill the buckets with all that the server has of the channel between their ends."""
    if filling.start >= filling.end:
        return
    last = len(_LEVELS) - 1
    level = next((i for i, (_, n) in enumerate(_LEVELS) if filling.width >= 2 * n), last)
    length = _LEVELS[level][1]
    _descend(server, channel, filling, level, filling.start // length, (filling.end - 1) // length)


def _descend(
    server: Server, channel: ChannelId, filling: Filling, level: int, first: int, last: int
) -> None:
    name, length = _LEVELS[level]
    if length == WINDOW:
        _windows(server, channel, filling, first, last)
        return
    left = [
        None if _added(filling, length, found) else found.number
        for found in questions.rollups(server, channel, name, first, last)
    ]
    finer = length // _LEVELS[level + 1][1]
    for a, b in _stretches(left):
        _descend(server, channel, filling, level + 1, a * finer, (b + 1) * finer - 1)


def _added(filling: Filling, length: int, found: Rollup) -> bool:
    """Add a span that lies inside one bucket; False if it is stale or an edge cuts it."""
    begin = found.number * length
    end = begin + length
    if found.part is None or begin < filling.start or end > filling.end:
        return False
    place = filling.index(begin)
    if filling.index(end - 1) != place:
        return False
    filling.add(place, found.part)
    return True


def _windows(server: Server, channel: ChannelId, filling: Filling, first: int, last: int) -> None:
    left: list[int | None] = []
    for found in questions.rollups(server, channel, "10m", first, last):
        begin = found.number * WINDOW
        if _added(filling, WINDOW, found):
            left.append(None)
        elif found.part is not None and found.state >= lines.GOING:
            filling.add_forgotten(begin, begin + WINDOW, found.part)
            left.append(None)
        else:
            left.append(found.number)
    for a, b in _stretches(left):
        low, high = max(a * WINDOW, filling.start), min((b + 1) * WINDOW, filling.end)
        for rows in questions.pages(server, channel, low, high):
            filling.add_rows(rows)


def _stretches(left: Iterable[int | None]) -> Iterator[tuple[int, int]]:
    """Join the numbers between two None into (first, last): what lies between them is empty."""
    first = last = None
    for number in (*left, None):
        if number is not None:
            first, last = number if first is None else first, number
        elif first is not None and last is not None:
            yield first, last
            first = last = None


def runs(numbers: Iterable[int], gap: int = 1) -> Iterator[tuple[int, int]]:
    """Join ascending numbers at most `gap` apart into (first, last)."""
    first = last = None
    for number in numbers:
        if first is None or last is None:
            first = last = number
        elif number - last <= gap:
            last = number
        else:
            yield first, last
            first = last = number
    if first is not None and last is not None:
        yield first, last

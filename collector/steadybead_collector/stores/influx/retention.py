"""Forgetting readings on the server whose time is over; rollups stay."""

from collections.abc import Iterator, Sequence

import numpy as np

from steadybead_collector.stores.influx import lines, questions
from steadybead_collector.stores.influx.faults import AwayError, cannot_delete
from steadybead_collector.stores.influx.questions import Rollup
from steadybead_collector.stores.influx.server import Server
from steadybead_collector.stores.windows import WINDOW, forgettable
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Span, StoreError


def forget(
    server: Server, channel: ChannelId, before: int, keep: Sequence[Span]
) -> tuple[int, int | None]:
    """Forget whole windows that ended by `before` and touch no kept span; all must have rollups.

    Gives the number of readings forgotten and the end of the last window without any. A crash in
    between is made good by the next call.
    """
    most = lines.TIME_LIMIT // WINDOW
    found = list(questions.rollups(server, channel, "10m", -most, before // WINDOW - 1))
    numbers = np.array([item.number for item in found], np.int64)
    spans = [span for span in keep if span.station == channel.station_id]
    drop = forgettable(numbers, before, spans)
    fresh = [item for item, gone in zip(found, drop, strict=True) if gone and item.state < 3]
    if fresh:
        _mark(server, channel, fresh, lines.GOING)
        for first, last in _stretches(found, drop.tolist()):
            _delete(server, channel, first * WINDOW, (last + 1) * WINDOW)
        _mark(server, channel, fresh, lines.GONE)
    gone = [item for item, away in zip(found, drop, strict=True) if away or item.state == 3]
    end = (gone[-1].number + 1) * WINDOW if gone else None
    count = sum(i.part.count for i in fresh if i.part is not None and i.state == lines.VALID)
    return count, end


def _stretches(found: Sequence[Rollup], drop: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """Join neighbours that go, over stretches without readings, as far as nothing is kept."""
    first = last = None
    for item, gone in zip(found, drop, strict=True):
        if gone and item.state < lines.GONE:
            first, last = (item.number if first is None else first), item.number
        elif first is not None and last is not None:
            yield first, last
            first = last = None
    if first is not None and last is not None:
        yield first, last


def _mark(server: Server, channel: ChannelId, windows: Sequence[Rollup], state: int) -> None:
    starts = (item.number * WINDOW for item in windows)
    marks = (lines.state_line(channel, "10m", start, state) for start in starts)
    server.write("\n".join(marks))


def _delete(server: Server, channel: ChannelId, start: int, end: int) -> None:
    place = f"{lines.where(channel)} AND {lines.between(start, end)}"
    try:
        server.order(f'DELETE FROM "{lines.READING}" WHERE {place}')
    except AwayError:
        raise
    except StoreError as error:
        raise cannot_delete(server.address, str(error)) from error


def trim(server: Server, producer: str, upto: int) -> bool:
    """Drop the announcements of a producer that nobody will ask for; False if it cannot."""
    place = f"\"producer\" = '{producer}' AND time <= {upto * lines.NS}"
    try:
        server.order(f'DELETE FROM "{lines.APPEND}" WHERE {place}')
    except AwayError:
        raise
    except StoreError:
        return False
    return True

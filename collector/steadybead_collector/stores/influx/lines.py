"""Line protocol of what we keep on the server, and the way back.

`steadybead_reading`, tags site, station, channel: value, raw, q, r, p, seq, and z where a zero
is negative. `steadybead_append`, tag producer, at position · 1 µs: received, first, last, n.
`steadybead_rollup`, tags site, station, channel, span, at the span's start: count, n, low, high,
total, worst, state. `steadybead_producer`, tag producer, at 0: position, released.

`q`, `r`, `p` are quality, reason and plant version, `seq` the position of the append. JSON has no
negative zero, so `z` says it: 1 value, 2 raw. Times are whole µs, sent in ns.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from steadybead_collector.stores.exact import read_total, write_total
from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.influx.server import Series
from steadybead_collector.stores.summary import Summary
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns, Int64

READING = "steadybead_reading"
APPEND = "steadybead_append"
ROLLUP = "steadybead_rollup"
PRODUCER = "steadybead_producer"
TIME_LIMIT = 9_200_000_000_000_000  # µs: what fits into ns of 64 bits, until July 2261
NS = 1_000
VALID, STALE, GOING, GONE = 0, 1, 2, 3
"""State of a rollup: GOING and GONE are windows whose readings are being, or were, forgotten."""


def check_times(flat: Flat) -> None:
    """Raise ValueError on a time that a server's nanoseconds cannot hold."""
    time = flat.rows.time
    if len(time) and (time.min() < -TIME_LIMIT or time.max() > TIME_LIMIT):
        raise ValueError("a time beyond the years 1678 to 2261 cannot be kept on a readings server")


def tags(channel: ChannelId) -> str:
    """Write the tags of a channel; its names need no escaping."""
    return f"channel={channel.channel},site={channel.site},station={channel.station}"


def where(channel: ChannelId) -> str:
    """Write the condition that picks a channel."""
    return (
        f"\"site\" = '{channel.site}' AND \"station\" = '{channel.station}'"
        f" AND \"channel\" = '{channel.channel}'"
    )


def between(start: int, end: int) -> str:
    """Write the condition that picks [start, end) in µs."""
    low, high = max(start, -TIME_LIMIT), min(end, TIME_LIMIT + 1)
    return f"time >= {low * NS} AND time < {high * NS}"


def channel_of(series: Series) -> ChannelId:
    """Give the channel of a series."""
    return ChannelId(series.tags["site"], series.tags["station"], series.tags["channel"])


def reading_lines(flat: Flat, position: int) -> list[str]:
    """Write readings, one line each, in their order."""
    found: list[str] = []
    for i, name in enumerate(flat.names):
        found += _channel_lines(f"{READING},{tags(name)} ", flat.of(i), position)
    return found


def _channel_lines(head: str, rows: Columns, position: int) -> Iterator[str]:
    negative = _negative_zeros(rows)
    columns = (rows.time, rows.value, rows.raw, rows.quality, rows.reason, rows.plant, negative)
    for t, value, raw, q, r, p, z in zip(*(c.tolist() for c in columns), strict=True):
        zero = f",z={z}i" if z else ""
        yield (
            f"{head}value={value!r},raw={raw!r},q={q}i,r={r}i,p={p}i,seq={position}i{zero} {t * NS}"
        )


def _negative_zeros(rows: Columns) -> Int64:
    value = (rows.value == 0.0) & np.signbit(rows.value)
    raw = (rows.raw == 0.0) & np.signbit(rows.raw)
    bits: Int64 = value.astype(np.int64) + 2 * raw.astype(np.int64)
    return bits


def columns_of(series: Series) -> Columns:
    """Read readings back, to the bit, in the order answered; without one not whole yet."""
    series = series.whole("value", "raw", "q", "r", "p")
    found = series.columns
    value, raw = np.array(found["value"], np.float64), np.array(found["raw"], np.float64)
    if any(found["z"]):
        zeros = np.array([z or 0 for z in found["z"]], np.int64)
        value[(zeros & 1) != 0] = -0.0
        raw[(zeros & 2) != 0] = -0.0
    return Columns(
        times_of(series),
        value,
        raw,
        np.array(found["q"], np.uint8),
        np.array(found["r"], np.uint8),
        np.array(found["p"], np.uint32),
    )


def times_of(series: Series) -> Int64:
    """Give the times of the rows, int64 [n] µs."""
    return np.array(series.columns["time"], np.int64) // NS


def append_line(producer: str, position: int, received: int, flat: Flat) -> str:
    """Write the row that announces an append."""
    time = flat.rows.time
    return (
        f"{APPEND},producer={producer} received={received}i,first={int(time.min())}i,"
        f"last={int(time.max())}i,n={len(flat)}i {position * NS}"
    )


def producer_line(producer: str, position: int, released: int) -> str:
    """Write how far a producer has come."""
    return f"{PRODUCER},producer={producer} position={position}i,released={released}i 0"


def state_line(channel: ChannelId, span: str, start: int, state: int) -> str:
    """Write what the figures of a rollup are worth: STALE where it lacks readings."""
    return f"{ROLLUP},{tags(channel)},span={span} state={state}i {start * NS}"


def rollup_line(channel: ChannelId, span: str, start: int, part: Summary) -> str:
    """Write the figures of a rollup; a `state_line` after it makes them count."""
    bounds = f"low={part.low!r},high={part.high!r}," if part.n else ""
    return (
        f"{ROLLUP},{tags(channel)},span={span} count={part.count}i,n={part.n}i,{bounds}"
        f'total="{write_total(part.total).hex()}",worst={part.worst}i {start * NS}'
    )


def summary_of(columns: Mapping[str, list[Any]], i: int) -> Summary:
    """Read row i of rollups; only where its state is not STALE."""
    n = int(columns["n"][i])
    return Summary(
        int(columns["count"][i]),
        n,
        float(columns["low"][i]) if n else float("inf"),
        float(columns["high"][i]) if n else float("-inf"),
        read_total(bytes.fromhex(columns["total"][i])),
        int(columns["worst"][i]),
    )

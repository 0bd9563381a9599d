"""Who is new: identity is (channel, time), the first value stays."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from steadybead_collector.stores.flat import Flat
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Conflict
from steadybead_domain.readings import Batch, Columns, Float64, Int64

NEVER = np.iinfo(np.int64).min
Bool = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Stored readings around asked times: `time` int64 [m] ascending, `raw` float64 [m].

    `forgotten` bool, one for each time asked: the readings there were forgotten, so nobody can
    say whether the time is taken.
    """

    time: Int64
    raw: Float64
    forgotten: Bool


Lookup = Callable[[ChannelId, Int64], Known]


@dataclass(slots=True)
class Sifted:
    """What of a batch is new, in ascending time by channel, and what is not."""

    flat: Flat
    duplicates: int = 0
    conflicts: list[Conflict] = field(default_factory=list)


def in_order(flat: Flat, newest: Int64) -> Bool:
    """Tell of each channel whether its rows ascend and all are later than `newest` int64 [k]."""
    time, starts = flat.rows.time, flat.starts
    falls = np.empty(len(time), np.bool_)
    np.less_equal(time[1:], time[:-1], out=falls[1:])
    falls[starts[:-1]] = time[starts[:-1]] <= newest
    if not falls.any():
        return np.ones(len(newest), np.bool_)
    return ~np.logical_or.reduceat(falls, starts[:-1])


def sift(flat: Flat, newest: Int64, lookup: Lookup) -> Sifted:
    """Keep the new readings of each channel, count duplicates, list conflicts.

    `lookup` is asked only about channels that are not in order, and only about times not later
    than the channel's newest.
    """
    if not len(flat):
        return Sifted(flat)
    ordered = in_order(flat, newest)
    if ordered.all():
        return Sifted(flat)
    result = Sifted(flat)
    kept: dict[ChannelId, Columns] = {}
    for i, name in enumerate(flat.names):
        rows = flat.of(i)
        kept[name] = (
            rows if ordered[i] else _sift_channel(name, rows, int(newest[i]), lookup, result)
        )
    result.flat = _joined(kept)
    return result


def _sift_channel(
    name: ChannelId, rows: Columns, newest: int, lookup: Lookup, result: Sifted
) -> Columns:
    rows = rows.take(np.argsort(rows.time, kind="stable"))
    fresh = np.ones(len(rows), np.bool_)
    fresh[1:] = rows.time[1:] != rows.time[:-1]
    holder = rows.raw[np.flatnonzero(fresh)[np.cumsum(fresh) - 1]]
    late = rows.time <= newest
    if late.any():
        known = lookup(name, rows.time[late])
        _hold_against(known, rows.time[late], fresh, holder, np.flatnonzero(late))
    same = holder.view(np.int64) == rows.raw.view(np.int64)
    result.duplicates += int(np.count_nonzero(~fresh & same))
    result.conflicts += [
        Conflict(name, int(rows.time[i]), float(holder[i]), float(rows.raw[i]))
        for i in np.flatnonzero(~fresh & ~same)
    ]
    return rows.take(fresh)


def _hold_against(
    known: Known, asked: Int64, fresh: Bool, holder: Float64, at: npt.NDArray[np.intp]
) -> None:
    """Mark in place which of the rows `at` are taken, and by which raw sample."""
    if len(known.time):
        place = np.minimum(np.searchsorted(known.time, asked), len(known.time) - 1)
        taken = known.time[place] == asked
        holder[at[taken]] = known.raw[place[taken]]
        fresh[at[taken]] = False
    holder[at[known.forgotten]] = np.nan
    fresh[at[known.forgotten]] = False


def _joined(kept: dict[ChannelId, Columns]) -> Flat:
    left = {name: rows for name, rows in kept.items() if len(rows)}
    starts = np.cumsum([0, *(len(rows) for rows in left.values())], dtype=np.int64)
    return Flat(tuple(left), starts, Columns.concat(left.values()))


def accepted(batch: Batch, sifted: Sifted, flat: Flat) -> Batch:
    """Give the batch itself where all of it was new, else what was kept."""
    return batch if sifted.flat is flat else sifted.flat.batch(batch.received)

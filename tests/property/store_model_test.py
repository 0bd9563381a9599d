"""The SQLite store against a dictionary, reopened and crashed at random moments.

A crash is a copy of the file and its write-ahead log as they lie. A crash in the middle of an
append is the log as it was, overwritten by the log as it became only up to some byte.
"""

import math
import shutil
from pathlib import Path
from tempfile import mkdtemp

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from steadybead_collector.stores import SqliteReadings
from steadybead_collector.stores.database import FILE_NAME
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Span
from steadybead_domain.readings import Batch, Columns, Quality, Reading, Reason
from steadybead_domain.times import MINUTE
from store_samples import FLOW, NOZZLE, OTHER, START, WINDOW, all_of, assert_buckets, bits

FIRST, LAST = START - 3 * WINDOW, START + 8 * WINDOW
CHANNELS = (NOZZLE, FLOW, OTHER)
WAL = f"{FILE_NAME}-wal"

times = st.integers(0, 60).map(lambda i: START + i * MINUTE)
raws = st.sampled_from([0.0, -0.0, 1.5, 300.25, 5e-324, -1.7e308])
readings = st.builds(
    Reading,
    times,
    st.sampled_from([0.0, -0.0, 299.99, 300.01, 1e-310, 1.7e308]),
    raws,
    st.sampled_from(Quality),
    st.sampled_from(Reason),
    st.integers(1, 3),
)
batches = st.dictionaries(st.sampled_from(CHANNELS), st.lists(readings, max_size=12), max_size=3)

Model = dict[tuple[ChannelId, int], Reading]


class StoreMachine(RuleBasedStateMachine):
    """`model` holds what is acknowledged, `gone` windows whose readings were forgotten."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(mkdtemp(prefix="steadybead-model-"))
        self.copies = 0
        self.model: Model = {}
        self.gone: set[tuple[ChannelId, int]] = set()
        self.accepted: list[tuple[int, dict[ChannelId, list[int]]]] = []
        self.newest = dict.fromkeys(CHANNELS, FIRST)
        self.released = 0
        self.received = START

    @initialize()
    def begin(self) -> None:
        self.store = SqliteReadings(self.folder / "live")

    @rule(rows=batches, later_min=st.sampled_from([0, 1, 2, 30]))
    def append(self, rows: dict[ChannelId, list[Reading]], later_min: int) -> None:
        self.received += later_min * MINUTE
        batch = Batch(self.received, {name: Columns.of(found) for name, found in rows.items()})
        fresh, duplicates, conflicts = self.expect(rows)
        result = self.store.append(batch)
        got = {
            name: columns.time.tolist()
            for name, columns in result.accepted.columns.items()
            if len(columns)
        }
        assert got == fresh
        assert (result.duplicates, len(result.conflicts)) == (duplicates, conflicts)
        if fresh:
            assert result.position > (self.accepted[-1][0] if self.accepted else 0)
            self.accepted.append((result.position, fresh))

    def expect(
        self, rows: dict[ChannelId, list[Reading]]
    ) -> tuple[dict[ChannelId, list[int]], int, int]:
        fresh: dict[ChannelId, list[int]] = {}
        duplicates = conflicts = 0
        newest = dict(self.newest)
        for name, found in rows.items():
            for reading in sorted(found, key=lambda r: r.time):
                known = self.model.get((name, reading.time))
                if (name, reading.time // WINDOW) in self.gone and reading.time <= newest[name]:
                    conflicts += 1  # nobody can say any more whether the time is taken
                elif known is None:
                    self.model[name, reading.time] = reading
                    self.newest[name] = max(self.newest[name], reading.time)
                    fresh.setdefault(name, []).append(reading.time)
                elif raw_bits(known) == raw_bits(reading):
                    duplicates += 1
                else:
                    conflicts += 1
        return fresh, duplicates, conflicts

    @rule()
    def keep_house(self) -> None:
        self.store.maintain()

    @rule()
    def seal(self) -> None:
        self.store.seal(LAST)

    @precondition(lambda self: self.accepted)
    @rule(data=st.data())
    def release(self, data: st.DataObject) -> None:
        position, _ = data.draw(st.sampled_from(self.accepted))
        self.store.release(position)
        self.released = max(self.released, position)

    @rule(minutes=st.integers(0, 70), kept=st.integers(0, 60), channel=st.sampled_from(CHANNELS))
    def retain(self, minutes: int, kept: int, channel: ChannelId) -> None:
        before = START + minutes * MINUTE
        span = Span(channel.station_id, START + kept * MINUTE, START + (kept + 5) * MINUTE)
        doomed = [
            (name, time)
            for name, time in self.model
            if (time // WINDOW + 1) * WINDOW <= before
            and not (
                name.station_id == span.station
                and time // WINDOW * WINDOW < span.end
                and (time // WINDOW + 1) * WINDOW > span.start
            )
        ]
        assert self.store.retain(before, [span]) == len(doomed)
        for name, time in doomed:
            del self.model[name, time]
            self.gone.add((name, time // WINDOW))

    @rule()
    def reopen(self) -> None:
        self.store.close()
        self.store = SqliteReadings(self.folder / "live")

    @rule()
    def crash(self) -> None:
        """Go on with a copy of the files as they lie."""
        copy = self.copy()
        self.store.close()
        self.folder = copy.parent
        self.store = SqliteReadings(copy)

    @rule(rows=batches, torn=st.floats(0.0, 1.0))
    def crash_in_an_append(self, rows: dict[ChannelId, list[Reading]], torn: float) -> None:
        """A torn write of what was not acknowledged takes nothing with it."""
        before = self.copy()
        self.store.append(Batch(self.received, {n: Columns.of(r) for n, r in rows.items()}))
        after = self.copy()
        self.store.close()
        mixed = self.mixed(before, after, torn)
        self.folder = mixed.parent
        self.store = SqliteReadings(mixed)
        self.take_over(rows)

    def mixed(self, before: Path, after: Path, torn: float) -> Path:
        old = (before / WAL).read_bytes() if (before / WAL).exists() else b""
        new = (after / WAL).read_bytes() if (after / WAL).exists() else b""
        cut = int(torn * len(new))
        unchanged = next(
            (i for i, (a, b) in enumerate(zip(old, new, strict=False)) if a != b),
            min(len(old), len(new)),
        )
        if (before / FILE_NAME).read_bytes() == (after / FILE_NAME).read_bytes():
            cut = unchanged + int(torn * (len(new) - unchanged))
            (after / WAL).write_bytes(new[:cut] + old[cut:])
        return after

    def take_over(self, rows: dict[ChannelId, list[Reading]]) -> None:
        """Learn whether the torn append is there: all of it or nothing."""
        kept, newest = dict(self.model), dict(self.newest)
        fresh, _, _ = self.expect(rows)
        if not fresh:
            return
        name = next(iter(fresh))
        found = all_of(self.store, name, FIRST, LAST).time.tolist()
        if fresh[name][0] in found:
            position = max(p for p, _ in self.store.since(0))
            self.accepted.append((position, fresh))
        else:
            self.model, self.newest = kept, newest

    def copy(self) -> Path:
        self.copies += 1
        to = self.folder / f"crash-{self.copies}" / "live"
        to.mkdir(parents=True)
        for name in (FILE_NAME, WAL):
            if (self.folder / "live" / name).exists():
                shutil.copy(self.folder / "live" / name, to / name)
        return to

    @rule(
        name=st.sampled_from(CHANNELS),
        start=st.integers(-5, 65),
        minutes=st.integers(1, 90),
        points=st.integers(1, 40),
    )
    def buckets(self, name: ChannelId, start: int, minutes: int, points: int) -> None:
        begin = START + start * MINUTE
        end = begin + minutes * MINUTE
        if any(c == name for c, _ in self.gone):
            return
        found = self.store.buckets(name, begin, end, points)
        assert_buckets(found, self.rows(name), begin, end, points)

    def rows(self, name: ChannelId) -> list[Reading]:
        found = [r for (channel, _), r in self.model.items() if channel == name]
        return sorted(found, key=lambda r: r.time)

    @invariant()
    def everything_is_there_once(self) -> None:
        for name in CHANNELS:
            found = all_of(self.store, name, FIRST, LAST)
            assert bits(found) == bits(Columns.of(self.rows(name)))

    @invariant()
    def a_replay_gives_what_was_accepted(self) -> None:
        replay = {
            position: {name: columns.time.tolist() for name, columns in batch.columns.items()}
            for position, batch in self.store.since(self.released)
        }
        assert replay == {p: fresh for p, fresh in self.accepted if p > self.released}

    @invariant()
    def the_newest_is_the_newest(self) -> None:
        found = self.store.latest(CHANNELS)
        for name in CHANNELS:
            rows = self.rows(name)
            forgotten = [w for c, w in self.gone if c == name]
            if rows and (not forgotten or max(forgotten) < rows[-1].time // WINDOW):
                assert found[name] == Columns.of(rows[-1:]).row(0)

    def teardown(self) -> None:
        self.store.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def raw_bits(reading: Reading) -> tuple[float, float]:
    return reading.raw, math.copysign(1.0, reading.raw)


StoreMachine.TestCase.settings = settings(max_examples=30, stateful_step_count=25, deadline=None)
TestStore = StoreMachine.TestCase

"""What every readings store keeps to. An implementation subclasses it with a `store` fixture."""

import math
from itertools import pairwise

import numpy as np
import pytest

from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Conflict, ReadingsStore, Span, StoreError
from steadybead_domain.readings import Batch, Columns, Quality, Reading, Reason
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND
from store_samples import (
    FLOW,
    NOZZLE,
    OTHER,
    START,
    WINDOW,
    all_of,
    assert_buckets,
    batch,
    bits,
    bucket_rows,
    oracle_buckets,
    reading,
    settle,
    steady,
)


class ReadingsStoreContract:
    """The rules; `merged` says whether housekeeping runs between writing and reading.

    `far` is the furthest time that the store must take, in µs.
    """

    far = 2**61

    @pytest.fixture(params=[False, True], ids=["journal", "merged"])
    def merged(self, request: pytest.FixtureRequest) -> bool:
        return bool(request.param)

    def put(self, store: ReadingsStore, rows: dict[ChannelId, list[Reading]], merged: bool) -> None:
        store.append(batch(rows))
        self.rest(store, merged)

    def rest(self, store: ReadingsStore, merged: bool) -> None:
        """Let half an hour of receipt pass, then keep house."""
        if merged:
            late = batch({OTHER: [reading(START + 400 * DAY, 1.0)]}, START + 400 * DAY)
            store.append(late)
            settle(store)

    def test_gives_back_every_column_to_the_bit(self, store: ReadingsStore, merged: bool) -> None:
        rows = [
            reading(START, -0.0, 5e-324),
            reading(START + 1, 0.0, -0.0, Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT, 7),
            reading(START + 2, 1e308, -1e308, Quality.BAD, Reason.CLOCK, 2**32 - 1),
            reading(START + 3, 0.1 + 0.2, 0.3, Quality.BAD, Reason.OUT_OF_PHYSICAL_RANGE),
        ]
        self.put(store, {NOZZLE: rows}, merged)
        assert bits(all_of(store, NOZZLE, START, START + 4)) == bits(Columns.of(rows))

    def test_reads_an_interval_that_includes_start_and_excludes_end(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        self.put(store, {NOZZLE: [reading(START + i, float(i)) for i in range(5)]}, merged)
        assert all_of(store, NOZZLE, START + 1, START + 3).value.tolist() == [1.0, 2.0]
        assert list(store.read(NOZZLE, START + 3, START + 3)) == []
        assert list(store.read(NOZZLE, START + 3, START)) == []
        assert list(store.read(FLOW, START, START + 5)) == []

    def test_keeps_channels_apart(self, store: ReadingsStore, merged: bool) -> None:
        self.put(store, {NOZZLE: [reading(START, 1.0)], FLOW: [reading(START, 2.0)]}, merged)
        assert all_of(store, NOZZLE, START, START + 1).value.tolist() == [1.0]
        assert all_of(store, FLOW, START, START + 1).value.tolist() == [2.0]

    def test_accepts_all_that_is_new(self, store: ReadingsStore) -> None:
        result = store.append(batch({NOZZLE: [reading(START, 1.0)], FLOW: [reading(START, 2.0)]}))
        assert len(result.accepted) == 2
        assert (result.duplicates, result.conflicts) == (0, ())

    def test_gives_what_was_accepted_in_ascending_time(self, store: ReadingsStore) -> None:
        rows = [reading(START + 2, 2.0), reading(START, 0.0), reading(START + 1, 1.0)]
        result = store.append(batch({NOZZLE: rows}))
        assert result.accepted.columns[NOZZLE].time.tolist() == [START, START + 1, START + 2]

    def test_counts_the_same_raw_sample_as_a_duplicate(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        self.put(store, {NOZZLE: [reading(START, 300.0, 12.2)]}, merged)
        result = store.append(batch({NOZZLE: [reading(START, 299.0, 12.2, plant=2)]}))
        assert (result.duplicates, result.conflicts, len(result.accepted)) == (1, (), 0)
        kept = all_of(store, NOZZLE, START, START + 1).row(0)
        assert (kept.value, kept.plant) == (300.0, 1)

    def test_keeps_the_first_of_two_raw_samples(self, store: ReadingsStore, merged: bool) -> None:
        self.put(store, {NOZZLE: [reading(START, 300.0, 12.2)]}, merged)
        result = store.append(
            batch({NOZZLE: [reading(START, 301.0, 12.3), reading(START + 1, 302.0, 12.4)]})
        )
        assert result.conflicts == (Conflict(NOZZLE, START, 12.2, 12.3),)
        assert result.accepted.columns[NOZZLE].value.tolist() == [302.0]
        assert all_of(store, NOZZLE, START, START + 9).value.tolist() == [300.0, 302.0]

    def test_tells_minus_zero_from_zero(self, store: ReadingsStore, merged: bool) -> None:
        self.put(store, {NOZZLE: [reading(START, 0.0)]}, merged)
        result = store.append(batch({NOZZLE: [reading(START, -0.0)]}))
        assert len(result.conflicts) == 1
        assert math.copysign(1.0, result.conflicts[0].refused_raw) == -1.0

    def test_judges_rows_of_one_batch_by_their_order(self, store: ReadingsStore) -> None:
        rows = [
            reading(START + 1, 5.0),
            reading(START, 1.0),
            reading(START, 1.0),
            reading(START, 2.0),
            reading(START, 1.0),
        ]
        result = store.append(batch({NOZZLE: rows, FLOW: [reading(START, 9.0)]}))
        assert result.duplicates == 2
        assert result.conflicts == (Conflict(NOZZLE, START, 1.0, 2.0),)
        assert result.accepted.columns[NOZZLE].value.tolist() == [1.0, 5.0]
        assert result.accepted.columns[FLOW].value.tolist() == [9.0]

    def test_takes_late_readings_between_others(self, store: ReadingsStore, merged: bool) -> None:
        self.put(store, {NOZZLE: [reading(START + i, float(i)) for i in (0, 2, 4)]}, merged)
        late = batch({NOZZLE: [reading(START + i, float(i)) for i in (3, 1, 2)]})
        result = store.append(late)
        assert (result.duplicates, len(result.accepted)) == (1, 2)
        self.rest(store, merged)
        assert all_of(store, NOZZLE, START, START + 9).value.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert store.append(late).duplicates == 3

    def test_takes_a_whole_batch_again_as_duplicates(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        rows = Batch(START, {NOZZLE: steady(5_000), FLOW: steady(5_000, low=60.0, seed=2)})
        store.append(rows)
        self.rest(store, merged)
        result = store.append(rows)
        assert (result.duplicates, result.conflicts, len(result.accepted)) == (10_000, (), 0)
        assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(rows.columns[NOZZLE])

    @pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
    @pytest.mark.parametrize("column", ["value", "raw"])
    def test_refuses_nan_and_infinity_and_stores_nothing(
        self, store: ReadingsStore, bad: float, column: str
    ) -> None:
        value, raw = (bad, 1.0) if column == "value" else (1.0, bad)
        rows = [reading(START, 1.0), reading(START + 1, value, raw)]
        with pytest.raises(ValueError, match="NaN or infinity"):
            store.append(batch({FLOW: [reading(START, 2.0)], NOZZLE: rows}))
        assert list(store.read(FLOW, START, START + 9)) == []
        assert list(store.read(NOZZLE, START, START + 9)) == []
        assert store.latest([NOZZLE, FLOW]) == {}
        assert list(store.since(0)) == []

    def test_takes_an_empty_batch(self, store: ReadingsStore) -> None:
        result = store.append(Batch(START, {NOZZLE: Columns.empty()}))
        assert (len(result.accepted), result.duplicates, result.conflicts) == (0, 0, ())

    def test_gives_the_newest_reading_of_each_channel(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        bad = reading(START + 5, 0.0, 99.0, Quality.BAD, Reason.OPEN_CIRCUIT)
        self.put(store, {NOZZLE: [reading(START, 1.0), bad], FLOW: [reading(START, 2.0)]}, merged)
        store.append(batch({NOZZLE: [reading(START + 1, 3.0)]}))
        found = store.latest([NOZZLE, FLOW, ChannelId("north", "bay-9", "gun-a/flow")])
        assert found == {
            NOZZLE: Reading(START + 5, None, 99.0, Quality.BAD, Reason.OPEN_CIRCUIT, 1),
            FLOW: reading(START, 2.0),
        }

    def test_names_its_channels(self, store: ReadingsStore, merged: bool) -> None:
        assert list(store.channels()) == []
        self.put(store, {NOZZLE: [reading(START, 1.0)], FLOW: [reading(START, 2.0)]}, merged)
        assert set(store.channels()) - {OTHER} == {NOZZLE, FLOW}

    def test_reads_in_parts_of_bounded_size_in_ascending_time(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        rows = steady(150_000, step=20_000)
        for i in range(0, 150_000, 50_000):
            store.append(Batch(START, {NOZZLE: rows.take(slice(i, i + 50_000))}))
        self.rest(store, merged)
        parts = list(store.read(NOZZLE, START, START + DAY))
        assert all(0 < len(part) <= 100_000 for part in parts)
        assert bits(Columns.concat(parts)) == bits(rows)

    @pytest.mark.parametrize("points", [1, 7, 48, 1_000])
    def test_buckets_are_exact(self, store: ReadingsStore, merged: bool, points: int) -> None:
        rows = [
            *(reading(START + i * 97 * SECOND, 300 + i * 0.01) for i in range(200)),
            reading(START + 500, 0.0, 1.0, Quality.BAD, Reason.OPEN_CIRCUIT),
            reading(START + 501, 1e9, 1.0, Quality.BAD, Reason.OUT_OF_PHYSICAL_RANGE),
            reading(START + 502, 299.0, 1.0, Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT),
            reading(START + 7 * HOUR, 0.0, 1.0, Quality.BAD, Reason.LOOP_FAULT),
        ]
        self.put(store, {NOZZLE: rows}, merged)
        for start, end in ((START, START + 8 * HOUR), (START + 333, START + 2 * HOUR + 777)):
            found = store.buckets(NOZZLE, start, end, points)
            assert_buckets(found, rows, start, end, points)

    def test_buckets_of_days_are_exact(self, store: ReadingsStore, merged: bool) -> None:
        rows = [reading(START + i * 13 * MINUTE, math.sin(i) * 0.1) for i in range(1_000)]
        self.put(store, {NOZZLE: rows[::2]}, merged)
        self.put(store, {NOZZLE: rows[1::2]}, merged)
        for start, end, points in (
            (START - START % DAY, START - START % DAY + 12 * DAY, 4),
            (START - DAY, START + 30 * DAY, 3),
            (START + 1, START + 5 * DAY - 1, 11),
        ):
            assert_buckets(store.buckets(NOZZLE, start, end, points), rows, start, end, points)

    def test_a_mean_of_large_numbers_does_not_overflow(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        rows = [reading(START + i, v) for i, v in enumerate((1.7e308, 1.7e308, -1.0, 5e-324))]
        self.put(store, {NOZZLE: rows}, merged)
        assert_buckets(store.buckets(NOZZLE, START, START + 4, 1), rows, START, START + 4, 1)

    def test_buckets_of_nothing(self, store: ReadingsStore) -> None:
        assert len(store.buckets(NOZZLE, START, START + DAY, 10)) == 0
        store.append(batch({NOZZLE: [reading(START, 1.0)]}))
        assert len(store.buckets(NOZZLE, START + 1, START + DAY, 10)) == 0
        assert len(store.buckets(NOZZLE, START + DAY, START, 10)) == 0
        with pytest.raises(ValueError, match="point"):
            store.buckets(NOZZLE, START, START + DAY, 0)

    def test_replays_what_was_accepted_until_it_is_released(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        first = store.append(batch({NOZZLE: [reading(START, 1.0), reading(START + 1, 2.0)]}))
        second = store.append(
            batch({NOZZLE: [reading(START + 1, 2.0), reading(START + 2, 3.0)]}, START + 7)
        )
        assert first.position < second.position
        self.rest(store, merged)
        replay = dict(store.since(0))
        assert replay[first.position].columns[NOZZLE].value.tolist() == [1.0, 2.0]
        assert replay[second.position].columns[NOZZLE].value.tolist() == [3.0]
        assert replay[second.position].received == START + 7
        assert first.position not in dict(store.since(first.position))
        store.release(first.position)
        settle(store)
        assert first.position not in dict(store.since(0))
        assert second.position in dict(store.since(0))
        assert all_of(store, NOZZLE, START, START + 9).value.tolist() == [1.0, 2.0, 3.0]

    def test_forgets_old_readings_outside_kept_spans(self, store: ReadingsStore) -> None:
        rows = [reading(START + i * MINUTE, float(i)) for i in range(120)]
        store.append(batch({NOZZLE: rows, OTHER: rows}))
        span = Span(NOZZLE.station_id, START + 30 * MINUTE, START + 40 * MINUTE)
        assert store.retain(START + 60 * MINUTE, [span]) == 50 + 60
        kept = all_of(store, NOZZLE, START, START + DAY).value
        assert kept.tolist() == [*map(float, range(30, 40)), *map(float, range(60, 120))]
        assert all_of(store, OTHER, START, START + DAY).value[0] == 60.0
        assert store.retain(START + 60 * MINUTE, [span]) == 0

    def test_keeps_whole_windows_around_spans_and_limit(self, store: ReadingsStore) -> None:
        rows = [reading(START + i * MINUTE, float(i)) for i in range(60)]
        store.append(batch({NOZZLE: rows}))
        span = Span(NOZZLE.station_id, START + 19 * MINUTE, START + 19 * MINUTE + 1)
        assert store.retain(START + WINDOW * 4 + 1, [span]) == 30
        kept = all_of(store, NOZZLE, START, START + DAY).value
        assert kept.tolist() == [*map(float, range(10, 20)), *map(float, range(40, 60))]

    def test_summaries_outlive_the_readings(self, store: ReadingsStore) -> None:
        rows = [reading(START + i * MINUTE, 300 + i * 0.01) for i in range(600)]
        store.append(batch({NOZZLE: rows}))
        store.retain(START + 400 * MINUTE, [])
        for start, end, points in (
            (START, START + 600 * MINUTE, 60),
            (START - 30 * MINUTE, START + 1_410 * MINUTE, 24),
            (START - DAY, START + 2 * DAY, 3),
        ):
            assert_buckets(store.buckets(NOZZLE, start, end, points), rows, start, end, points)

    def test_edges_give_way_where_readings_were_forgotten(self, store: ReadingsStore) -> None:
        rows = [reading(START + i * MINUTE, 300 + i * 0.01) for i in range(120)]
        store.append(batch({NOZZLE: rows}))
        store.retain(START + 60 * MINUTE, [])
        start, end = START + 3 * MINUTE, START + 118 * MINUTE
        found = bucket_rows(store.buckets(NOZZLE, start, end, 9))
        edges = [(begin, row[0]) for begin, row in found.items()]
        assert edges[0][0] == START
        assert all(a_end <= b for (_, a_end), (b, _) in pairwise(edges))
        assert sum(row[1] for row in found.values()) == 118
        for begin, (stop, *numbers) in found.items():
            inside = oracle_buckets(rows, begin, stop, 1)
            assert numbers == list(inside[begin][1:])

    def test_a_reading_where_all_was_forgotten_is_a_conflict(self, store: ReadingsStore) -> None:
        store.append(batch({NOZZLE: [reading(START + i * MINUTE, 1.0) for i in range(20)]}))
        store.retain(START + WINDOW, [])
        result = store.append(batch({NOZZLE: [reading(START, 1.0)]}))
        assert len(result.accepted) == 0
        assert math.isnan(result.conflicts[0].kept_raw)
        assert result.conflicts[0].refused_raw == 1.0

    def test_takes_times_at_the_far_ends(self, store: ReadingsStore, merged: bool) -> None:
        far = self.far
        rows = [reading(t, 1.0) for t in (-far, -1, 0, far)]
        self.put(store, {NOZZLE: rows}, merged)
        assert all_of(store, NOZZLE, -far, far + 1).time.tolist() == [-far, -1, 0, far]
        with pytest.raises(ValueError, match="time"):
            store.append(batch({NOZZLE: [reading(far + 1, 1.0)]}))

    def test_a_caller_may_change_what_it_gave(self, store: ReadingsStore) -> None:
        rows = steady(10)
        store.append(Batch(START, {NOZZLE: rows}))
        expected = bits(steady(10))
        rows.value[:] = 0.0
        rows.time[:] = 0
        assert bits(all_of(store, NOZZLE, START, START + DAY)) == expected

    def test_closes_twice_and_then_refuses(self, store: ReadingsStore) -> None:
        store.close()
        store.close()
        with pytest.raises(StoreError, match="closed"):
            store.append(batch({NOZZLE: [reading(START, 1.0)]}))
        with pytest.raises(StoreError, match="closed"):
            store.latest([NOZZLE])
        with pytest.raises(StoreError, match="closed"):
            np.array(list(store.read(NOZZLE, START, START + 1)))

    def test_late_readings_among_many_appends_keep_their_order(
        self, store: ReadingsStore, merged: bool
    ) -> None:
        order = [*range(50, 100), *range(50)]
        for i in order:
            store.append(batch({NOZZLE: [reading(START + i * MINUTE, float(i))]}))
        store.retain(START + 5 * WINDOW, [])
        self.rest(store, merged)
        values = all_of(store, NOZZLE, START, START + DAY).value.tolist()
        assert values == [float(i) for i in range(50, 100)]
        assert store.append(batch({NOZZLE: [reading(START + 60 * MINUTE, 60.0)]})).duplicates == 1

"""What goes in comes out to the bit: every finite double, every time, every quality and reason."""

import hashlib
import math
import statistics
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from steadybead_collector.stores import SqliteReadings, journal_codec
from steadybead_collector.stores.exact import exact_mean, exact_sums, read_total, write_total
from steadybead_collector.stores.flat import TIME_LIMIT, flatten
from steadybead_collector.stores.leaves import canonical, leaf_hash
from steadybead_collector.stores.packed import Chunk, Coding, pack, unpack
from steadybead_domain.evidence.merkle import tree_hash
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Batch, Columns, Quality, Reading, Reason
from store_samples import NOZZLE, START, WINDOW, all_of, bits, settle, steady

doubles = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0.0, -0.0, 5e-324, -5e-324, 2.2250738585072014e-308, 1.7976931348623157e308]),
    st.integers(-(10**6), 10**6).map(lambda i: i / 100),
)
times = st.one_of(
    st.integers(-TIME_LIMIT, TIME_LIMIT), st.integers(START - WINDOW, START + 3 * WINDOW)
)


def readings_at(when: st.SearchStrategy[int]) -> st.SearchStrategy[Reading]:
    return st.builds(
        Reading,
        when,
        doubles,
        doubles,
        st.sampled_from(Quality),
        st.sampled_from(Reason),
        st.integers(0, 2**32 - 1),
    )


def columns_at(when: st.SearchStrategy[int], least: int = 1) -> st.SearchStrategy[Columns]:
    rows = st.lists(readings_at(when), min_size=least, max_size=60, unique_by=lambda r: r.time)
    return rows.map(lambda found: Columns.of(sorted(found, key=lambda r: r.time)))


def edge_times(rows: Columns) -> tuple[int, int]:
    return int(rows.time[0]), int(rows.time[-1]) + 1


@settings(deadline=None, max_examples=60)
@given(columns_at(times), st.booleans(), st.booleans())
def test_a_file_gives_back_every_bit(rows: Columns, sealed: bool, reopened: bool) -> None:
    with TemporaryDirectory() as name:
        store = SqliteReadings(Path(name))
        store.append(Batch(START, {NOZZLE: rows}))
        if sealed:
            store.seal(TIME_LIMIT + WINDOW)
            settle(store)
        if reopened:
            store.close()
            store = SqliteReadings(Path(name))
        assert bits(all_of(store, NOZZLE, -TIME_LIMIT, TIME_LIMIT + 1)) == bits(rows)
        assert store.latest([NOZZLE])[NOZZLE] == rows.row(len(rows) - 1)
        assert store.append(Batch(START, {NOZZLE: rows})).duplicates == len(rows)
        store.close()


@settings(deadline=None, max_examples=300)
@given(columns_at(times))
def test_a_chunk_gives_back_every_bit(rows: Columns) -> None:
    assert bits(unpack([pack(rows)], *edge_times(rows))) == bits(rows)


@settings(deadline=None, max_examples=300)
@given(columns_at(times), st.data())
def test_a_journal_row_gives_back_every_bit(rows: Columns, data: st.DataObject) -> None:
    split = data.draw(st.integers(0, len(rows)))
    ids, starts = np.array([3, 9]), np.array([0, split, len(rows)])
    got_ids, got_starts, got = journal_codec.decode(journal_codec.encode(ids, starts, rows))
    assert (got_ids.tolist(), got_starts.tolist()) == ([3, 9], starts.tolist())
    assert bits(got) == bits(rows)


@settings(deadline=None)
@given(columns_at(times), st.integers(0), st.integers(1, 255))
def test_a_damaged_journal_row_is_told(rows: Columns, at: int, flip: int) -> None:
    data = bytearray(journal_codec.encode(np.array([1]), np.array([0, len(rows)]), rows))
    data[at % len(data)] ^= flip
    with pytest.raises(StoreError, match="damaged"):
        journal_codec.decode(bytes(data))


@pytest.mark.parametrize(
    ("change", "coding"),
    [
        (lambda v: v, Coding.DECIMAL),
        (lambda v: v * 24.4 + 7e-3 * v * v, Coding.BY_RAW),
        (lambda v: np.sqrt(v) * np.linspace(1.0, 2.0, len(v)), Coding.PCO),
        (lambda v: v * 0 + 1.5, Coding.CONSTANT),
    ],
)
def test_values_are_written_in_the_form_that_fits(
    change: Callable[[np.ndarray], np.ndarray], coding: Coding
) -> None:
    plain = steady(3_000)
    rows = Columns(
        plain.time,
        change(np.round(plain.value / 24.4, 2)),
        np.round(plain.value / 24.4, 2) + (coding is Coding.DECIMAL),
        plain.quality,
        plain.reason,
        plain.plant,
    )
    data = pack(rows)
    assert Chunk(data).columns["value"][0] == coding
    assert bits(unpack([data], *edge_times(rows))) == bits(rows)


def test_a_raw_sample_that_is_the_value_is_not_kept_twice() -> None:
    plain = steady(3_000)
    same = Columns(plain.time, plain.value, plain.value, plain.quality, plain.reason, plain.plant)
    assert Chunk(pack(same)).columns["raw"] == (Coding.AS_VALUE, b"")


@settings(deadline=None, max_examples=300)
@given(st.lists(doubles, min_size=1, max_size=50), st.data())
@example([1.7976931348623157e308, 1.7976931348623157e308], None)
@example([1e16, 1.0, -1e16], None)
def test_sums_are_the_rational_sums(values: list[float], data: st.DataObject | None) -> None:
    """Against rational arithmetic of the standard library, and its fmean."""
    cut = data.draw(st.integers(0, len(values) - 1)) if data is not None else 0
    starts = sorted({0, cut})
    sums = exact_sums(np.array(values), np.array(starts))
    parts = [values[a:b] for a, b in zip(starts, [*starts[1:], len(values)], strict=True)]
    for total, part in zip(sums, parts, strict=True):
        assert Fraction(total, 2**1074) == sum(map(Fraction, part), Fraction())
        assert read_total(write_total(total)) == total
        mean = exact_mean(total, len(part))
        assert mean == float(sum(map(Fraction, part), Fraction()) / len(part))
    if max(map(abs, values)) < 1e300:
        assert math.isclose(
            exact_mean(sum(sums), len(values)),
            statistics.fmean(values),
            rel_tol=1e-15,
            abs_tol=5e-324,
        )


@pytest.mark.parametrize("spread", [0, 5, 9, 10, 11, 12, 20])
@pytest.mark.parametrize("n", [1, 1_000, 65_535, 65_536])
def test_sums_of_many_full_mantissas_are_the_rational_sums(n: int, spread: int) -> None:
    """On both sides of the limit up to which doubles have room for all bits of the sum."""
    draw = np.random.default_rng(spread)
    values = np.ldexp(draw.integers(2**52, 2**53, n) | 1, draw.integers(-53, spread - 52, n))
    values[::3] *= -1.0
    values[1::7] = 0.0
    starts = np.unique([0, n // 3, n // 2])
    parts = np.split(values, starts[1:])
    assert [Fraction(total, 2**1074) for total in exact_sums(values, starts)] == [
        Fraction(sum(int(math.ldexp(v, 53)) for v in part.tolist()), 2**53) for part in parts
    ]


def test_tree_hashes_follow_rfc_9162() -> None:
    """RFC 9162, 2.1.1 by its own recursion on leaf inputs; the split is the power of two below n.

    The root of the seven one-byte-to-many inputs is that of the test vectors that go with
    Certificate Transparency (RFC 6962, from memory).
    """
    inputs = [
        b"",
        b"\x00",
        b"\x10",
        b"\x20\x21",
        b"\x30\x31",
        b"\x40\x41\x42\x43",
        bytes(range(0x50, 0x58)),
        bytes(range(0x60, 0x70)),
    ]
    leaves = [hashlib.sha256(b"\x00" + data).digest() for data in inputs]
    roots = {
        1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    }
    for n, root in roots.items():
        assert tree_hash(leaves[:n]).hex() == root
    assert tree_hash([]) == hashlib.sha256(b"").digest()


def test_a_leaf_is_hashed_over_the_described_bytes() -> None:
    rows = Columns.of([Reading(START, 1.0, 2.0, Quality.BAD, Reason.CLOCK, 7)])
    name = b"north/bay-1/gun-a/nozzle"
    expected = (
        b"steadybead readings 1\n"
        + len(name).to_bytes(2, "little")
        + name
        + START.to_bytes(8, "little", signed=True)
        + (0).to_bytes(4, "little")
        + (1).to_bytes(8, "little")
        + START.to_bytes(8, "little", signed=True)
        + bytes.fromhex("000000000000f03f")
        + bytes.fromhex("0000000000000040")
        + b"\x02\x02"
        + (7).to_bytes(4, "little")
    )
    assert canonical(NOZZLE, START, 0, rows) == expected
    assert leaf_hash(NOZZLE, START, 0, rows) == hashlib.sha256(b"\x00" + expected).digest()


@pytest.mark.parametrize("field", ["time", "value", "raw", "quality", "reason", "plant"])
def test_columns_of_another_type_or_length_are_refused(field: str) -> None:
    rows = steady(5)
    wrong = {name: getattr(rows, name) for name in Columns.__dataclass_fields__}
    for array in (wrong[field][:-1], wrong[field].astype(np.float32)):
        if field == "time" and array.dtype == np.int64:
            continue
        with pytest.raises(ValueError, match=field):
            flatten(Batch(START, {NOZZLE: Columns(**wrong | {field: array})}))


def test_views_with_gaps_are_taken_as_they_are() -> None:
    rows = steady(10)
    flat = flatten(Batch(START, {NOZZLE: rows.take(slice(None, None, 2))}))
    assert flat.rows.time.tolist() == rows.time[::2].tolist()
    assert flat.rows.value.tolist() == rows.value[::2].tolist()


@pytest.mark.parametrize(("quality", "reason"), [(3, 0), (0, 200)])
def test_unknown_numbers_of_quality_and_reason_are_refused(quality: int, reason: int) -> None:
    rows = steady(1)
    wrong = Columns(
        rows.time,
        rows.value,
        rows.raw,
        np.array([quality], np.uint8),
        np.array([reason], np.uint8),
        rows.plant,
    )
    with pytest.raises(ValueError, match="quality or reason"):
        flatten(Batch(START, {NOZZLE: wrong}))

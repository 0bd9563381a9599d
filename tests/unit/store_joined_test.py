"""Columns of many channels end to end are the same readings, and nobody can change them."""

from dataclasses import replace

import numpy as np
import pytest

from steadybead_collector.stores import MemoryReadings
from steadybead_collector.stores.flat import flatten
from steadybead_domain.readings import COLUMN_TYPES, Batch, Columns, Joined
from store_samples import FLOW, NOZZLE, OTHER, START, all_of, bits, steady

PARTS = {NOZZLE: steady(5), FLOW: steady(3, seed=2)}


def writable(rows: Columns) -> Columns:
    return Columns(*(getattr(rows, name).copy() for name in COLUMN_TYPES))


def test_joined_columns_are_the_columns_by_channel() -> None:
    joined = Joined.of({**PARTS, OTHER: Columns.empty()})
    assert list(joined) == list(PARTS)
    assert len(joined) == 2
    assert len(Batch(START, joined)) == 8
    alone = Joined(joined.names, joined.starts, joined.rows)
    for found in (joined, alone):
        assert OTHER not in found
        assert {name: bits(rows) for name, rows in found.items()} == {
            name: bits(rows) for name, rows in PARTS.items()
        }
        assert [len(rows) for rows in found.values()] == [5, 3]
    assert bits(alone[FLOW]) == bits(PARTS[FLOW])


def test_nobody_can_write_to_joined_columns() -> None:
    views = steady(10).take(slice(None, None, 2))
    for rows in (Joined.of(PARTS).rows, Joined.of({NOZZLE: views}).rows):
        assert not any(getattr(rows, name).flags.writeable for name in COLUMN_TYPES)


def test_a_store_keeps_its_own_copy_of_what_can_be_written_to() -> None:
    joined = Joined.of(PARTS)
    rows = writable(joined.rows)
    store = MemoryReadings()
    store.append(Batch(START, Joined(joined.names, joined.starts, rows)))
    rows.value[:] = 0.0
    assert bits(all_of(store, NOZZLE, START, START + 10**9)) == bits(PARTS[NOZZLE])
    store.close()


def test_joined_columns_are_taken_as_they_are() -> None:
    joined = Joined.of(PARTS)
    assert flatten(Batch(START, joined)).rows is joined.rows


@pytest.mark.parametrize("starts", [[0, 5], [0, 5, 7], [0, 8, 8], [1, 5, 8], [0, 5, 9]])
def test_starts_that_do_not_fit_are_refused(starts: list[int]) -> None:
    joined = Joined.of(PARTS)
    wrong = Joined(joined.names, np.array(starts), joined.rows)
    with pytest.raises(ValueError, match="starts"):
        flatten(Batch(START, wrong))


@pytest.mark.parametrize("name", [name for name in COLUMN_TYPES if name != "time"])
def test_joined_arrays_that_do_not_fit_are_refused(name: str) -> None:
    joined = Joined.of(PARTS)
    array = getattr(joined.rows, name)
    for wrong in (array[:-1], array.astype(np.float32)):
        rows = replace(joined.rows, **{name: wrong})
        with pytest.raises(ValueError, match="fit"):
            flatten(Batch(START, Joined(joined.names, joined.starts, rows)))

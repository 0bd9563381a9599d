"""Clocks that wander, packs that travel whole, truth files that nobody sees half."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from simulated_shop import FULL, LOOP, MONDAY, Shop, fault, with_faults
from steadybead_domain.times import SECOND
from steadybead_simulator.edge import NEVER
from steadybead_simulator.shop import Shop as Walk
from steadybead_simulator.truth import Truth, TruthFile, read_truth


def test_clocks_wander_by_milliseconds_and_never_twice_the_same() -> None:
    offsets = []
    for step in Walk(FULL, LOOP, 5, MONDAY).walk(FULL.stations[0], 3600.0):
        assert step.sent is not None
        true = MONDAY + step.sent.block.t * SECOND
        offsets.append(step.sent.clock - true)
    error_ms = np.concatenate(offsets) / 1000.0
    assert 0.5 < np.abs(error_ms).max() < 60.0
    assert error_ms.std() > 0.3


def test_readings_arrive_after_they_were_taken_and_in_order() -> None:
    shop = Shop(LOOP, 900.0)
    for wire in shop.wire:
        delay = wire.sent - wire.clock
        assert np.all(np.diff(wire.sent) >= 0)
        assert delay.min() > -30_000
        assert np.median(delay) < 150_000


def test_packs_are_lost_whole() -> None:
    scenario = dataclasses.replace(
        with_faults([fault("message_loss", 0.0, 600.0, size=40.0)]), pack_s=5.0
    )
    for step in Walk(FULL, scenario, 5, MONDAY).walk(FULL.stations[0], 600.0):
        assert step.sent is not None
        lost = (step.sent.sent == NEVER).reshape(-1, 5)
        assert np.all(lost.all(axis=1) == lost.any(axis=1))
        assert 0.2 < lost.mean() < 0.6


def test_an_outage_over_several_blocks_loses_nothing() -> None:
    scenario = with_faults([fault("link_outage", 250.0, 1000.0)])
    late, calm = Shop(scenario, 1800.0), Shop(LOOP, 1800.0)
    assert np.array_equal(late.columns["gun-a/flow"].time, calm.columns["gun-a/flow"].time)
    counts = [len(w.clock) for w in late.wire]
    assert sum(counts) == sum(len(w.clock) for w in calm.wire)
    assert len(counts) < len(calm.wire)


def row(i: int) -> Truth:
    return Truth("fault", "stuck", f"f-{i}", "bay-1", None, "gun-a/nozzle", MONDAY + i, size=0.5)


def test_truth_file_keeps_every_row(tmp_path: Path) -> None:
    path = tmp_path / "truth.parquet"
    file = TruthFile(path)
    for i in range(5000):
        file.add([row(i)])
    assert not path.exists()
    file.close()
    rows = read_truth(path)
    assert [r["id"] for r in rows] == [f"f-{i}" for i in range(5000)]
    assert rows[0]["end"] is None
    assert rows[0]["size"] == 0.5


def test_an_empty_truth_is_a_file_with_no_row(tmp_path: Path) -> None:
    file = TruthFile(tmp_path / "truth.parquet")
    file.close()
    assert read_truth(tmp_path / "truth.parquet") == []


@pytest.mark.parametrize("seed", [-1, 2**63])
def test_seeds_out_of_range(seed: int) -> None:
    with pytest.raises(ValueError, match="the seed is a whole number"):
        Walk(FULL, LOOP, seed, MONDAY)

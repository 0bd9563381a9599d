"""Random faults are possible ones, apart from each other, and all of them in the truth."""

import dataclasses
from itertools import pairwise

import pytest

from simulated_shop import MONDAY, Shop
from steadybead_simulator.campaign import TYPICAL, random_faults
from steadybead_simulator.faults import KINDS, Seat
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario

PLANT = plant_of(60)
FAULTS = random_faults(PLANT, 3, 120)


def test_every_kind_is_drawn() -> None:
    assert set(TYPICAL) == set(KINDS)
    assert {f.kind.name for f in FAULTS} == set(KINDS)


def test_sizes_are_possible() -> None:
    for fault in FAULTS:
        if fault.kind.dimension is not None:
            assert fault.kind.low <= fault.size <= fault.kind.high
        assert fault.kind.gradual or fault.over_s == 0.0


def test_onsets_are_at_work_and_apart() -> None:
    for station in PLANT.stations:
        mine = [f for f in FAULTS if f.station == station.id.station]
        for before, after in pairwise(mine):
            assert after.start_s > before.end_s
        for fault in mine:
            assert fault.start_s // 86_400 % 7 < 5
            assert 8.0 < fault.start_s % 86_400 / 3600 < 14.5


def test_places_exist() -> None:
    stations = {s.id.station: s for s in PLANT.stations}
    for fault in FAULTS:
        station = stations[fault.station]
        assert (fault.gun is not None) == (fault.kind.seat is Seat.GUN)
        if fault.gun is not None:
            assert fault.gun in station.guns
        if fault.channel is not None:
            (channel,) = [c for c in station.channels if c.id.channel == fault.channel]
            assert channel.quantity in fault.kind.quantities


def test_same_seed_same_faults() -> None:
    assert random_faults(PLANT, 3, 120) == FAULTS
    assert random_faults(PLANT, 4, 120) != FAULTS
    assert {f.kind.name for f in random_faults(PLANT, 3, 120, ("stuck",))} == {"stuck"}


@pytest.mark.slow
def test_truth_names_every_fault_that_began() -> None:
    plant = plant_of(2)
    faults = random_faults(plant, 5, 10)
    shop = Shop(dataclasses.replace(Scenario(), faults=faults), 10 * 86_400.0, plant=plant)
    told = {r.id for r in shop.truth if r.what == "fault" and r.cause == "scenario"}
    assert told == {f.id for f in faults}
    for row in shop.truth:
        assert row.start >= MONDAY
        assert row.end is None or row.end >= row.start

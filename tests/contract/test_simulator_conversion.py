"""The collector's conversion gives back what the simulator's instruments meant."""

import numpy as np
import pytest

from simulated_shop import ALL_KINDS, FULL, LOOP, MONDAY, fault, with_faults
from steadybead_domain.conversion.station import StationConverter, WireColumns
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.readings import Columns, Float64, Int64, Quality
from steadybead_domain.times import SECOND
from steadybead_simulator.history import history
from steadybead_simulator.plantfile import parse_plant
from steadybead_simulator.scenario import Scenario


def both(
    plant: Plant, scenario: Scenario, seconds: float
) -> list[tuple[ChannelId, Columns, Columns]]:
    """Convert the wire's numbers by the collector's rules; give them beside the simulator's."""
    converter = StationConverter(plant.stations[0], 1)
    found = []
    for block in history(plant, scenario, 5, MONDAY, MONDAY + round(seconds * SECOND)):
        (wire,) = block.wire
        columns = {c.id.channel: rows_of(wire.clock, raw) for c, raw in wire.raw.items()}
        for channel, theirs in converter.convert(columns).items():
            found.append((channel, block.columns[channel], theirs))
    return found


def rows_of(clock: Int64, raw: Float64) -> WireColumns:
    there = np.isfinite(raw)
    n = int(there.sum())
    pack = np.arange(len(raw), dtype=np.int64)[there]
    return WireColumns(clock[there], raw[there], np.zeros(n, np.uint8), np.zeros(n, np.uint8), pack)


@pytest.mark.parametrize("plant", [FULL, parse_plant("all.toml", ALL_KINDS)], ids=["full", "kinds"])
def test_same_values_by_both_roads(plant: Plant) -> None:
    compared = 0
    for channel, ours, theirs in both(plant, LOOP, 900.0):
        assert np.array_equal(ours.time, theirs.time)
        assert np.array_equal(ours.raw, theirs.raw)
        sound = (ours.quality == Quality.GOOD) & (theirs.quality == Quality.GOOD)
        assert sound.sum() >= len(ours) - 1, channel  # a counter's first count gives no flow
        # A count per second is coarse, and the clocks' milliseconds count: allow one pulse.
        allowed = 7.0 if channel.channel == "gun-a/flow" and plant.site == "south" else 0.02
        assert np.abs(ours.value - theirs.value)[sound].max() < allowed, channel
        compared += int(sound.sum())
    assert compared > 5000


@pytest.mark.parametrize("channel", ["gun-a/nozzle", "gun-a/flow", "gun-b/nozzle"])
def test_a_broken_wire_is_bad_by_both_roads(channel: str) -> None:
    scenario = with_faults([fault("open_circuit", 400.0, 500.0, place=channel)])
    bad = 0
    for name, ours, theirs in both(FULL, scenario, 600.0):
        if name.channel == channel:
            assert np.array_equal(ours.quality == Quality.BAD, theirs.quality == Quality.BAD)
            bad += int((theirs.quality == Quality.BAD).sum())
    assert bad == 100

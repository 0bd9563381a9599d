"""The air source without a drop over its filter, on a made-up blower with a falling curve."""

import json

import numpy as np
import pytest

from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.flow_margin import FlowMargin
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import DAY, HOUR

Q = Quantity
UP = StationId("made", "up")
PLACES = {
    "air/outlet": (Q.OUTLET_PRESSURE, None),
    "air/intake": (Q.INTAKE_TEMPERATURE, None),
    "gun-a/flow": (Q.AIR_FLOW, "a"),
}
N = 2 * HOUR // STEP
LOW_L_MIN = 40.0


def station(*left_out: str, **more: Q) -> Station:
    places = {n: q for n, (q, _) in PLACES.items() if n not in left_out} | more
    channels = [Channel(ChannelId("made", "up", n), q, q.facts.unit) for n, q in places.items()]
    return Station(UP, tuple(channels))


def shift(fallen_pct: float, draw: np.random.Generator) -> dict[str, Float64]:
    """Two hours of air, then five without any reading."""
    flow = 52.0 * np.exp(0.03 * draw.standard_normal())
    room_c = 20.0 + 8.0 * draw.random()
    pressure = 9000.0 * (293.15 / (room_c + 273.15)) * (flow / 52.0) ** -0.12
    pressure *= (1.0 - fallen_pct / 100.0) * np.exp(0.002 * draw.standard_normal())
    made = {
        "air/outlet": pressure + 20.0 * draw.standard_normal(N),
        "air/intake": np.full(N, room_c),
        "gun-a/flow": flow + 0.3 * draw.standard_normal(N),
    }
    return {n: np.concatenate((v, np.full(5 * HOUR // STEP, np.nan))) for n, v in made.items()}


def walked(
    fallen_pct: list[float], seed: int = 1, cut: int = 7200, *, again: bool = False
) -> tuple[FlowMargin, list[Finding]]:
    place, draw = station(), np.random.default_rng(seed)
    margin, found = FlowMargin(place), []
    for day, fallen in enumerate(fallen_pct):
        made, first = shift(fallen, draw), day * DAY // STEP
        n = len(made["air/outlet"])
        for begin in range(0, n, cut):
            part = {
                name: Trace(
                    v[begin : begin + cut],
                    np.isfinite(v[begin : begin + cut]),
                    np.zeros(len(v[begin : begin + cut]), np.int64),
                    np.zeros(len(v[begin : begin + cut]), np.uint8),
                )
                for name, v in made.items()
            }
            block = Traces(place, part, min(cut, n - begin))
            found += margin.update(first + begin, block, LOW_L_MIN)
            if again:
                kept, margin = json.loads(json.dumps(margin.dump())), FlowMargin(place)
                margin.load(kept)
    return margin, found


@pytest.mark.parametrize("seed", range(4))
def test_a_source_that_stays_is_no_finding(seed: int) -> None:
    margin, found = walked([0.0] * 24, seed)
    assert found == []
    assert margin.smallest_pct is not None
    assert margin.smallest_pct < 1.0


@pytest.mark.parametrize("seed", range(4))
def test_two_per_cent_of_the_pressure_are_told_as_one_of_the_flow(seed: int) -> None:
    _, found = walked([0.0] * 12 + [2.0] * 6, seed)
    assert [f.kind for f in found] == ["flow_margin_falling"]
    assert found[0].time < 17 * DAY
    lost = dict(found[0].evidence)["flow_margin_lost_pct"]
    assert lost == pytest.approx(1.0, abs=0.4)
    assert "cannot be seen here" in found[0].words
    assert " Pa" not in found[0].words


def test_a_steady_fall_is_carried_on_to_what_the_procedure_asks() -> None:
    pace = 0.8  # % of the pressure in a shift of two hours
    _, found = walked([0.0] * 10 + [pace * i for i in range(20)], seed=7)
    assert len(found) > 1
    seen = dict(found[-1].evidence)
    true_h = 100.0 * np.log(52.0 / LOW_L_MIN) / (0.5 * pace / 2.0)
    assert isinstance(seen["margin_h"], float)
    assert seen["margin_h"] == pytest.approx(true_h, rel=0.8)
    assert "40 L/min" in found[-1].words


def test_a_fall_that_is_mended_is_over() -> None:
    _, found = walked([0.0] * 10 + [3.0] * 5 + [0.0] * 6)
    assert [f.kind for f in found] == ["flow_margin_falling", "flow_margin_falling_over"]


def test_cuts_and_restarts_change_nothing() -> None:
    fallen = [0.0] * 9 + [3.0] * 5
    whole = walked(fallen)[1]
    assert whole
    assert walked(fallen, cut=9_991)[1] == whole
    assert walked(fallen, cut=30_000, again=True)[1] == whole


def test_it_needs_pressure_intake_and_flow_and_leaves_a_measured_filter_alone() -> None:
    assert FlowMargin(station()).able
    for name in PLACES:
        assert not FlowMargin(station(name)).able
    assert not FlowMargin(station(**{"air/filter": Q.FILTER_PRESSURE_DROP})).able

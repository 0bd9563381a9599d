from dataclasses import replace

import numpy as np
import pytest

from conversion_plant import channel, channel_id, station
from steadybead_domain.conversion.conditions import meter_sources, meter_state
from steadybead_domain.conversion.specs import FlowPrinciple
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.quantities import Quantity

FLOW = channel("gun-a/flow", Quantity.AIR_FLOW, "L/min")
INLET = channel("gun-a/inlet", Quantity.GUN_INLET_TEMPERATURE, "Cel")
OTHER_INLET = channel("gun-b/inlet", Quantity.GUN_INLET_TEMPERATURE, "Cel")
INTAKE = channel("air/intake", Quantity.INTAKE_TEMPERATURE, "Cel")
AMBIENT = channel("air/ambient", Quantity.AMBIENT_PRESSURE, "hPa")
OUTLET = channel("air/outlet", Quantity.OUTLET_PRESSURE, "kPa")
HUMIDITY = channel("air/humidity", Quantity.INTAKE_HUMIDITY, "%RH")


def meter(**said: str | float | FlowPrinciple) -> Channel:
    return replace(FLOW, flow=replace(FlowMeter(), **said))  # type: ignore[arg-type]


def test_nothing_known_takes_defaults_and_says_so() -> None:
    sources = meter_sources(station(FLOW, OTHER_INLET), FLOW)
    state, assumed = meter_state(sources, {})
    assert (state.temperature_c, state.pressure_pa, float(state.relative_humidity)) == (
        20.0,
        101_325.0,
        0.0,
    )
    assert assumed == (
        "no temperature at the meter is known: 20 °C taken",
        "the air in the meter is taken to be at ambient pressure",
        "no ambient pressure is known: 1013.25 hPa taken",
    )
    assert sources.channels == ()


def test_named_sources_assume_nothing() -> None:
    said = meter(temperature_at="gun-a/inlet", pressure_at="air/outlet")
    sources = meter_sources(station(said, INLET, AMBIENT, OUTLET, HUMIDITY, INTAKE), said)
    assert sources.assumptions == ()
    values = {INLET.id: 31.0, AMBIENT.id: 98_000.0, OUTLET.id: 6_000.0, HUMIDITY.id: 50.0}
    assert set(sources.channels) == set(values)
    state, assumed = meter_state(sources, values)
    assert assumed == ()
    assert (state.temperature_c, state.pressure_pa) == (31.0, 104_000.0)
    assert float(state.relative_humidity) == 0.5


def test_fixed_numbers() -> None:
    said = meter(temperature_at=25.0, pressure_at=100_000.0)
    state, assumed = meter_state(meter_sources(station(said, INLET, AMBIENT), said), {})
    assert (state.temperature_c, state.pressure_pa, assumed) == (25.0, 100_000.0, ())


@pytest.mark.parametrize(("there", "taken"), [((INLET, INTAKE), INLET), ((INTAKE,), INTAKE)])
def test_the_gun_inlet_goes_before_the_intake(there: tuple[Channel, ...], taken: Channel) -> None:
    sources = meter_sources(station(FLOW, *there), FLOW)
    assert sources.temperature == taken.id
    assert "the air in the meter is taken as warm as at the" in sources.assumptions[0]


def test_a_missing_reading_falls_back_and_says_so() -> None:
    sources = meter_sources(station(FLOW, INLET, AMBIENT), FLOW)
    state, assumed = meter_state(sources, {AMBIENT.id: np.array([95_000.0, 96_000.0])})
    assert state.temperature_c == 20.0
    assert np.asarray(state.pressure_pa).tolist() == [95_000.0, 96_000.0]
    assert "no reading of gun-a/inlet: 20 °C taken" in assumed


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"temperature_at": "gun-a/x"}, "temperature_at 'gun-a/x' is no channel of this station"),
        ({"temperature_at": "air/ambient"}, "temperature_at 'air/ambient': unit 'Pa' does not fit"),
        ({"pressure_at": "gun-a/inlet"}, "pressure_at 'gun-a/inlet': unit 'Cel' does not fit"),
        ({"principle": FlowPrinciple.THERMAL_MASS}, "state the reference on its data sheet"),
    ],
)
def test_wrong_sources_name_the_remedy(said: dict[str, str], message: str) -> None:
    wrong = meter(**said)
    with pytest.raises(ValueError, match=message):
        meter_sources(station(wrong, INLET, AMBIENT), wrong)


def test_channels_of_the_other_gun_are_not_taken() -> None:
    assert meter_sources(station(FLOW, OTHER_INLET), FLOW).temperature is None
    assert channel_id("gun-b/inlet") == OTHER_INLET.id

"""A procedure's flow window in a meter's own figures, for the air that was in the meter."""

from typing import Any

import numpy as np

from steadybead_api.services import Services
from steadybead_api.weld_worth import mean_between
from steadybead_api.worth import meter_state_of
from steadybead_domain.conversion.flow import GasState, convert_flow
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.procedures import Procedure, Window


def flow_window(
    services: Services, channel: Channel, procedure: Procedure, start: int, end: int
) -> dict[str, Any]:
    """Give the window; the note says for which air it was converted, and what was assumed."""
    window, reference = procedure.air_flow, procedure.flow_reference
    meter = channel.flow or FlowMeter()
    try:
        state, assumed = meter_state_of(
            services, channel, mean_between(services.readings, start, end)
        )
    except ValueError as error:
        return _written(None, None, window, f"the window cannot be converted: {error}")
    factor = float(convert_flow(np.ones(1), meter, state, reference)[0])
    if factor == 1.0:
        return _written(window.low, window.high, window, "")
    low = None if window.low is None else round(window.low / factor, 2)
    high = None if window.high is None else round(window.high / factor, 2)
    note = (
        f"the procedure's figures are at {reference.value}, the meter's are"
        f" {meter.reference.value}: converted for air of {_air(state)} in the meter"
    )
    return _written(low, high, window, "; ".join((note, *assumed)))


def _air(state: GasState) -> str:
    hpa = f"{float(np.asarray(state.pressure_pa)) / 100:.2f}".rstrip("0").rstrip(".")
    return f"{float(np.asarray(state.temperature_c)):.3g} °C and {hpa} hPa"


def _written(low: float | None, high: float | None, window: Window, note: str) -> dict[str, Any]:
    return {"low": low, "high": high, "unit": window.unit, "note": note}

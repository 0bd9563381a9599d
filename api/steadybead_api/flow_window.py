"""A procedure's flow window in a meter's own figures, for the air that was in the meter."""

from typing import Any

import numpy as np

from steadybead_api.services import Services
from steadybead_api.weld_worth import mean_between
from steadybead_api.worth import Near, meter_state_of
from steadybead_domain.conversion.flow import GasState, convert_flow
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.procedures import Procedure, Window


def flow_window(
    services: Services, channel: Channel, procedure: Procedure, start: int, end: int
) -> dict[str, Any]:
    """Give the window; the note says for which air it was converted, and what was assumed."""
    near = mean_between(services.readings, start, end)
    try:
        window, note = window_in_meter(services, channel, procedure, near)
    except ValueError as error:
        return _written(None, None, procedure.air_flow, f"the window cannot be converted: {error}")
    return _written(_rounded(window.low), _rounded(window.high), window, note)


def window_in_meter(
    services: Services, channel: Channel, procedure: Procedure, near: Near
) -> tuple[Window, str]:
    """Give the flow window in the meter's own figures, and for which air; ValueError."""
    window, reference = procedure.air_flow, procedure.flow_reference
    meter = channel.flow or FlowMeter()
    state, assumed = meter_state_of(services, channel, near)
    factor = float(convert_flow(np.ones(1), meter, state, reference)[0])
    if factor == 1.0:
        return window, ""
    low = None if window.low is None else window.low / factor
    high = None if window.high is None else window.high / factor
    note = (
        f"the procedure's figures are at {reference.value}, the meter's are"
        f" {meter.reference.value}: converted for air of {_air(state)} in the meter"
    )
    return Window(low, high, window.unit), "; ".join((note, *assumed))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _air(state: GasState) -> str:
    hpa = f"{float(np.asarray(state.pressure_pa)) / 100:.2f}".rstrip("0").rstrip(".")
    return f"{float(np.asarray(state.temperature_c)):.3g} °C and {hpa} hPa"


def _written(low: float | None, high: float | None, window: Window, note: str) -> dict[str, Any]:
    return {"low": low, "high": high, "unit": window.unit, "note": note}

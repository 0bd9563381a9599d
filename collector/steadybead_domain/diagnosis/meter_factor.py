"""The factor from a flow meter's own figure to a procedure's reference state, step by step."""

from collections.abc import Callable

import numpy as np

from steadybead_domain.conversion.conditions import (
    DEFAULT_TEMPERATURE_C,
    MeterSources,
    meter_sources,
    meter_state,
)
from steadybead_domain.conversion.flow import NORMAL_PRESSURE_PA, convert_flow
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import FlowMeter, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64


class MeterFactor:
    """Converts the flow of one gun; where a condition is not known its default stands in.

    `assumptions` are sentences to show beside the flow.
    """

    def __init__(self, station: Station, gun: str) -> None:
        channel = station.channel_of(Quantity.AIR_FLOW, gun)
        self.meter = (channel.flow if channel else None) or FlowMeter()
        try:
            self.sources = MeterSources() if channel is None else meter_sources(station, channel)
        except ValueError as error:
            self.sources = MeterSources(assumptions=(str(error),))
        self.assumptions = self.sources.assumptions
        defaults = (
            (self.sources.temperature, DEFAULT_TEMPERATURE_C),
            (self.sources.pressure, NORMAL_PRESSURE_PA),
            (self.sources.gauge_pressure, 0.0),
            (self.sources.humidity, 0.0),
        )
        self.defaults = {channel: value for channel, value in defaults if channel is not None}

    def factor(
        self, value: Callable[[ChannelId], Float64], wanted: FlowReference, cut: slice
    ) -> Float64:
        """Give the factor at the steps of `cut`; `value` gives a channel's whole column."""
        known = {
            channel: np.nan_to_num(value(channel)[cut], nan=default)
            for channel, default in self.defaults.items()
        }
        state, _ = meter_state(self.sources, known)
        ones = np.ones(cut.stop - cut.start)
        return ones * convert_flow(ones, self.meter, state, wanted)

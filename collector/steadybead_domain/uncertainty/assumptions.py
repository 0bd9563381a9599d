"""The assumptions that hold for a channel: the product's, with the shop's own in their place."""

from dataclasses import replace
from typing import Any

from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.plant import Channel
from steadybead_domain.uncertainty.flow import FlowAssumptions
from steadybead_domain.uncertainty.nozzle import NozzleAssumptions


def nozzle_assumptions(channel: Channel) -> NozzleAssumptions:
    """Give those of a nozzle temperature channel; its type is that of its conversion."""
    own: dict[str, Any] = dict(channel.assumptions)
    if isinstance(channel.conversion, Thermocouple):
        own["letter"] = channel.conversion.type
    return replace(NozzleAssumptions(), **own, given=_given(channel))


def flow_assumptions(channel: Channel) -> FlowAssumptions:
    """Give those of an air flow channel."""
    own: dict[str, Any] = dict(channel.assumptions)
    return replace(FlowAssumptions(), **own, given=_given(channel))


def _given(channel: Channel) -> frozenset[str]:
    return frozenset(name for name, _ in channel.assumptions)

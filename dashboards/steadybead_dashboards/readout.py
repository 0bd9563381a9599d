"""A measured value as a page shows it, beside the window it is held to."""

from dataclasses import dataclass

from steadybead_dashboards.gauge import Gauge, Place, gauge
from steadybead_dashboards.words import QUANTITIES, printed, trimmed
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import GunState, LiveStation, LiveValue
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND

OLD_AFTER_US = 10 * SECOND
JUDGED_STATES = frozenset({GunState.READY, GunState.HOT, GunState.WELDING})


@dataclass(frozen=True, slots=True)
class Readout:
    """One value, printed. `low` and `high` are the window's limits, printed, empty where open.

    `abnormal`: outside the window in a state where the window counts. `note` says in words what
    is wrong with the value itself: its quality, or its age in s. `unheard` is the address of its
    sensor where the collector tells of the station and has heard nothing of this channel.
    """

    channel: str
    quantity: str
    label: str
    text: str
    unit: str
    low: str
    high: str
    gauge: Gauge
    abnormal: bool
    quality: str
    reason: str
    age_s: int
    unheard: str = ""


def readout(channel: Channel, live: LiveStation | None, state: GunState | None) -> Readout:
    """Show the channel's last value; `state` is that of the gun, None for the air source."""
    value = _value_of(channel.id, live)
    words = QUANTITIES[channel.quantity]
    if value is None or live is None:
        place = gauge(None, None, None)
        return Readout(
            channel.id.channel,
            channel.quantity.value,
            words.label,
            "–",
            words.unit,
            "",
            "",
            place,
            abnormal=False,
            quality="none",
            reason="",
            age_s=0,
            unheard=f"/sensors/{channel.id}" if live is not None and live.values else "",
        )
    place = gauge(value.value, value.low, value.high)
    age_us = live.time - value.time
    return Readout(
        channel.id.channel,
        channel.quantity.value,
        words.label,
        printed(value.value, channel.quantity),
        words.unit,
        _limit(value.low, channel.quantity),
        _limit(value.high, channel.quantity),
        place,
        abnormal=place.place in {Place.LOW, Place.HIGH} and state in JUDGED_STATES,
        quality=value.quality,
        reason=value.reason,
        age_s=age_us // SECOND if age_us > OLD_AFTER_US else 0,
    )


def _value_of(channel: ChannelId, live: LiveStation | None) -> LiveValue | None:
    values = live.values if live is not None else ()
    return next((v for v in values if v.channel in {channel.channel, str(channel)}), None)


def _limit(limit: float | None, quantity: Quantity) -> str:
    return "" if limit is None else trimmed(limit, quantity)

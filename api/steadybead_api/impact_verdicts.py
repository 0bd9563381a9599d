"""Verdicts of the weld records in a stretch in doubt: as they stood, and with the error out."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.verdict import Doubt, weld_verdict
from steadybead_domain.calibration.impact import Growth, Span
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.welds import Weld

AT_ONCE: Final = 50
GROWTH_WORDS: Final = {
    Growth.LINEAR: "the error is taken to have grown in a straight line since the last good check",
    Growth.FULL: "the whole error is taken to have been there over the whole stretch: the worst",
}


def verdicts(
    services: Services,
    measuring: Measuring,
    doubt: Doubt,
    welds: Sequence[Weld],
    first: int = 0,
) -> list[dict[str, Any]]:
    """Judge at most `AT_ONCE` of the welds, from the place `first` on.

    `measuring` must not know of what was found, else the error would be taken out twice.
    """
    return [_judged(services, measuring, doubt, w) for w in welds[first : first + AT_ONCE]]


def doubt_of(
    measuring: Measuring, channel: ChannelId, span: Span, unit: str, growth: Growth
) -> Doubt:
    """Turn a stretch in the instrument's unit into the channel's."""
    known = measuring.channel(channel)
    factor = 1.0 if known is None else to_unit(unit, known.unit)[0]
    good = span.good
    scaled = None if good is None else replace(good, deviation=factor * good.deviation)
    return Doubt(channel, replace(span, error=factor * span.error, good=scaled), growth)


def _judged(services: Services, measuring: Measuring, doubt: Doubt, weld: Weld) -> dict[str, Any]:
    before = weld_verdict(services, weld, measuring).conclusion
    after = weld_verdict(services, weld, measuring, doubt).conclusion
    return {
        "weld": weld.id,
        "before": before.value,
        "after": after.value,
        "changed": before is not after,
    }

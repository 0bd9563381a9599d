"""What an as-found error reaches back to: stretches in doubt and the weld records in them."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

from steadybead_api.impact_verdicts import GROWTH_WORDS, doubt_of, verdicts
from steadybead_api.instrument_acts import the_instrument
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.weld_items import weld_item
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.calibration.due import error_found
from steadybead_domain.calibration.impact import (
    Growth,
    Span,
    Witness,
    calibration_witnesses,
    can_reveal,
    check_witnesses,
    doubted_by_calibration,
    doubted_by_check,
    welds_touched,
)
from steadybead_domain.calibration.model import Calibration, Instrument
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.conversion.units import same_dimension, to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.people import Actor
from steadybead_domain.welds import Weld

MOST_WELDS: Final = 10_000
_PAGE: Final = 2_000


@dataclass(frozen=True, slots=True)
class Asked:
    """How an impact list is wanted: growth of the error, and which verdicts of a long list."""

    growth: Growth = Growth.LINEAR
    first: int = 0


def impact(
    services: Services,
    measuring: Measuring,
    found: Calibration,
    reader: Actor | None,
    asked: Asked | None = None,
) -> dict[str, Any]:
    """Describe what a calibration puts in doubt; nothing where it passed or was withdrawn."""
    asked = asked or Asked()
    instrument = the_instrument(services, found.instrument)
    spans = [] if found.withdrawn else list(spans_in_doubt(measuring, found, instrument))
    before = Measuring(services, without=(found.id,))
    doubts = [
        _doubt(services, before, channel, span, instrument.unit, reader, asked)
        for channel, span in spans
    ]
    return {
        "calibration": found.id,
        "instrument": instrument.id,
        "serial": instrument.serial,
        "unit": instrument.unit,
        "error": error_found(found, instrument.unit),
        "tolerance": instrument.tolerance,
        "in_doubt": bool(doubts),
        "growth": asked.growth.value,
        "growth_words": GROWTH_WORDS[asked.growth],
        "doubts": doubts,
    }


def check_impact(
    services: Services,
    measuring: Measuring,
    found: ReferenceCheck,
    reader: Actor | None,
    asked: Asked | None = None,
) -> dict[str, Any]:
    """Describe what a failed reference check puts in doubt; ValueError if it cannot be said."""
    asked = asked or Asked()
    channel = measuring.channel(found.channel)
    fitted = measuring.fitted(found.channel, found.time)
    instrument = None if fitted is None else measuring.instruments.get(fitted.fitting.instrument)
    if channel is None or fitted is None or instrument is None:
        raise ValueError(f"no instrument is on record for {found.channel} at that time")
    tolerance = instrument.tolerance * to_unit(instrument.unit, channel.unit)[0]
    checks = measuring.checks(found.channel)
    witnesses = check_witnesses(checks, found.channel)
    span = doubted_by_check(found, checks, tolerance, witnesses, fitted.fitting.start)
    doubts = []
    if span is not None and not found.withdrawn:
        doubts = [_doubt(services, measuring, found.channel, span, channel.unit, reader, asked)]
    return {
        "check": found.id,
        "instrument": instrument.id,
        "serial": instrument.serial,
        "unit": channel.unit,
        "tolerance": tolerance,
        "in_doubt": bool(doubts),
        "growth": asked.growth.value,
        "growth_words": GROWTH_WORDS[asked.growth],
        "doubts": doubts,
    }


def _doubt(
    services: Services,
    measuring: Measuring,
    channel: ChannelId,
    span: Span,
    unit: str,
    reader: Actor | None,
    asked: Asked,
) -> dict[str, Any]:
    welds, left_out = welds_in(services, channel, span)
    doubt = doubt_of(measuring, channel, span, unit, asked.growth)
    return {
        "channel": str(channel),
        "start": span.start,
        "end": span.end,
        "error": span.error,
        "good": None if span.good is None else asdict(span.good),
        "welds": [weld_item(w, reader) for w in welds],
        "welds_left_out": left_out,
        "verdicts": verdicts(services, measuring, doubt, welds, asked.first),
        "verdicts_from": asked.first,
    }


def spans_in_doubt(
    measuring: Measuring, found: Calibration, instrument: Instrument
) -> Iterator[tuple[ChannelId, Span]]:
    """Walk the stretches in doubt, the latest first, back to the last good witness."""
    error = error_found(found, instrument.unit)
    calibrated = [
        w
        for w in calibration_witnesses(measuring.calibrations, instrument)
        if w.time < found.performed
    ]
    able = [w.time for w in calibrated if error is not None and can_reveal(w, error)]
    good_since = max(able, default=None)
    own = [
        f.fitting
        for f in measuring.fittings
        if f.fitting.instrument == instrument.id and f.fitting.start < found.performed
    ]
    for fitting in sorted(own, key=lambda f: -f.start):
        if good_since is not None and fitting.end is not None and fitting.end <= good_since:
            return
        checked = _in_unit(measuring, fitting.channel, instrument.unit)
        span = doubted_by_calibration(found, instrument, fitting, [*calibrated, *checked])
        if span is None:
            return
        yield fitting.channel, span
        if span.good is not None:
            return


def _in_unit(measuring: Measuring, channel: ChannelId, unit: str) -> list[Witness]:
    known = measuring.channel(channel)
    found = check_witnesses(measuring.checks(channel), channel)
    if known is None or not same_dimension(known.unit, unit):
        return []
    factor = to_unit(known.unit, unit)[0]
    return [replace(w, deviation=factor * w.deviation, expanded=factor * w.expanded) for w in found]


def welds_in(services: Services, channel: ChannelId, span: Span) -> tuple[list[Weld], int]:
    """List the records that a span touches, at most `MOST_WELDS`, and count the others."""
    began_inside = list(_began(services, channel, span))
    before = _running_before(services, channel, span)
    touched = welds_touched(span, channel, [*before, *began_inside])
    return touched[:MOST_WELDS], max(len(touched) - MOST_WELDS, 0)


def _began(services: Services, channel: ChannelId, span: Span) -> Iterator[Weld]:
    search = WeldSearch(channel.station_id, channel.gun, None, span.start, span.end)
    after = None
    while True:
        page = services.records.welds.page(search, _PAGE, after)
        yield from page.items
        if page.next is None:
            return
        after = page.next


def _running_before(services: Services, channel: ChannelId, span: Span) -> Iterator[Weld]:
    """Give the last record that each gun began before the span: only it can reach into it."""
    station = services.plant().station(channel.station_id)
    guns = () if station is None else station.guns
    for gun in guns if channel.gun is None else (channel.gun,):
        search = WeldSearch(channel.station_id, gun, began_before=span.start)
        yield from services.records.welds.page(search, 1).items

"""How sensors, filter and alarms stood while a weld was laid, from the records of that time."""

from collections.abc import Iterator
from typing import Final

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.weld_worth import mean_between
from steadybead_dashboards.sensor_words import short, shown_unit, signed, state_view
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import span_text
from steadybead_dashboards.weld_state import AlarmRow, FilterState, SensorState
from steadybead_dashboards.words import PRIORITIES, QUANTITIES, printed
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.calibration.due import due
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE
from steadybead_domain.welds import Weld

MARGIN: Final = MINUTE
LOOKED_AT: Final = 300
MOST_ALARMS: Final = 40
SHOWN: Final = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)


def sensor_states(
    services: Services, measuring: Measuring, weld: Weld, shell: Shell
) -> list[SensorState]:
    """Give the state of the gun's two main sensors at the start of the weld."""
    station = services.plant().station(weld.station)
    found = [] if station is None else [station.channel_of(q, weld.gun) for q in SHOWN]
    return [_sensor(measuring, c, weld.start, shell) for c in found if c is not None]


def filter_state(services: Services, weld: Weld, shell: Shell) -> FilterState | None:
    """Give the drop over the weld, and the last work on the filter before it."""
    station = services.plant().station(weld.station)
    channel = None if station is None else station.channel_of(Quantity.FILTER_PRESSURE_DROP)
    changes = services.records.filter_changes.all(weld.station)
    before = [c for c in changes if c.time <= weld.start and c.begins_anew]
    if station is None or (channel is None and not before):
        return None
    stop = services.clock() if weld.stop is None else weld.stop
    drop = None
    if channel is not None:
        drop = mean_between(services.readings, weld.start, stop)(channel.id)
    limit = station.air.intake_filter_limit_pa
    return FilterState(
        "" if drop is None else f"{printed(drop, Quantity.FILTER_PRESSURE_DROP)} Pa",
        "" if limit is None else f"{short(limit)} Pa",
        shell.moment(before[-1].time) if before else None,
        before[-1].kind.value if before else "",
    )


def alarm_rows(services: Services, weld: Weld, shell: Shell) -> list[AlarmRow]:
    """List the alarms of the gun or its air that were on in the time of the trace."""
    stop = shell.now if weld.stop is None else weld.stop
    rows = list(_alarms(services, weld, weld.start - MARGIN, stop + MARGIN, shell))
    return rows[:MOST_ALARMS]


def _alarms(
    services: Services, weld: Weld, start: int, end: int, shell: Shell
) -> Iterator[AlarmRow]:
    alarms = services.records.alarms
    page = alarms.page(LOOKED_AT, (end, 0), weld.station)
    for occurrence in reversed(page.items):
        alarm = alarm_state(occurrence.facts, occurrence.acts, shell.now)
        raised = alarm.raised
        until = shell.now if alarm.cleared is None else alarm.cleared
        if raised.gun not in (weld.gun, None) or until < start:
            continue
        yield AlarmRow(
            raised.priority.value,
            PRIORITIES[raised.priority],
            raised.what,
            shell.moment(raised.time),
            span_text(until - raised.time),
            alarm.acknowledged_by,
        )


def _sensor(measuring: Measuring, channel: Channel, time: int, shell: Shell) -> SensorState:
    fitted = measuring.fitted(channel.id, time)
    instrument = None if fitted is None else measuring.instruments.get(fitted.fitting.instrument)
    until_then = [c for c in measuring.calibrations if c.performed <= time]
    state = None if instrument is None else due(instrument, until_then, time)
    day = "" if state is None or state.due is None else shell.moment(state.due).day
    known = None if state is None else state.calibration
    checks = [c for c in measuring.checks(channel.id) if c.time <= time and not c.withdrawn]
    words = ""
    if checks:
        newest = checks[-1]
        unit = shown_unit(channel.unit)
        words = f"{signed(newest.deviation)} {unit}, {newest.nozzle}".rstrip(", ")
    return SensorState(
        QUANTITIES[channel.quantity].label,
        f"/sensors/{channel.id}",
        "" if instrument is None else instrument.serial,
        state_view(state, day),
        "" if known is None else known.certificate,
        shell.moment(checks[-1].time) if checks else None,
        words,
    )

"""The page of one alarm: what, where, since, value against limit, why, what to do, its trace."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar
from urllib.parse import urlencode

from steadybead_dashboards.alarm_cards import AlarmCard, alarm_card
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_dashboards.words import QUANTITIES
from steadybead_domain.alarms.model import ActKind, Alarm, AlarmAct, AlarmFact, AlarmState
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE, format_rfc3339

BEFORE, AFTER = 5 * MINUTE, 10 * MINUTE
SHELF_HOURS = (1, 4, 8, 24)
ACTS = {
    ActKind.ACKNOWLEDGE: mark("acknowledged"),
    ActKind.SHELVE: mark("shelved"),
    ActKind.UNSHELVE: mark("unshelved"),
    ActKind.TAKE_OUT_OF_SERVICE: mark("taken out of service"),
    ActKind.RETURN_TO_SERVICE: mark("returned to service"),
}
CAME, WENT = mark("condition came"), mark("condition gone")
MUTED = mark("cannot be judged: its sensor is out")
_AWAY = (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)


@dataclass(frozen=True, slots=True)
class TraceLane:
    """A channel around the onset; `low`, `high`: the alarm's limit where it is of this channel."""

    channel: str
    quantity: str
    label: str
    unit: str
    decimals: int
    low: float | None
    high: float | None
    csv: str
    sensor: str


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of an alarm's history."""

    when: Moment
    what: str
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class AlarmPage:
    """One alarm occurrence; the trace runs from 5 min before its last raise to 10 min after."""

    template: ClassVar[str] = "alarm.html"
    shell: Shell
    card: AlarmCard
    gun: str
    value: str
    limit: str
    cleared: Moment | None
    shelved_until: Moment | None
    lanes: tuple[TraceLane, ...]
    trace_start: str
    trace_end: str
    onset: str
    over: str
    history: tuple[Happening, ...]
    may_put_away: bool
    is_shelved: bool
    is_out: bool
    shelf_hours: tuple[int, ...] = SHELF_HOURS


def alarm_page(
    plant: Plant, alarm: Alarm, facts: Sequence[AlarmFact], acts: Sequence[AlarmAct], shell: Shell
) -> AlarmPage:
    """Build the page from the alarm as it stands and from all that happened to it."""
    fact = alarm.raised
    onset = alarm.last_raised or fact.time
    start, end = onset - BEFORE, min(onset + AFTER, max(shell.now, onset + MINUTE))
    return AlarmPage(
        shell,
        alarm_card(alarm, plant, shell),
        fact.gun or "",
        _figure(fact.value, fact.unit),
        _figure(fact.limit, fact.unit),
        None if alarm.cleared is None else shell.moment(alarm.cleared),
        None if alarm.shelved_until is None else shell.moment(alarm.shelved_until),
        tuple(_lanes(plant, fact, start, end)),
        format_rfc3339(start),
        format_rfc3339(end),
        format_rfc3339(onset),
        "" if alarm.cleared is None else format_rfc3339(alarm.cleared),
        tuple(_history(facts, acts, shell)),
        alarm.state is not AlarmState.NORMAL and alarm.state not in _AWAY,
        alarm.state is AlarmState.SHELVED,
        alarm.state is AlarmState.OUT_OF_SERVICE,
    )


def _figure(value: float | None, unit: str) -> str:
    if value is None:
        return ""
    shown = f"{value:.1f}".rstrip("0").rstrip(".").replace("-", "−")
    return f"{shown} {'°C' if unit == 'Cel' else unit}".strip()


def _lanes(plant: Plant, fact: AlarmFact, start: int, end: int) -> Iterable[TraceLane]:
    for channel in _channels(plant, fact):
        words = QUANTITIES[channel.quantity]
        below = fact.kind.endswith("_low") or fact.kind.startswith("air_lost")
        mine = fact.limit is not None and fact.unit == channel.unit
        times = {"start": format_rfc3339(start), "end": format_rfc3339(end)}
        query = urlencode({"channel": str(channel.id), **times})
        yield TraceLane(
            str(channel.id),
            channel.quantity.value,
            words.label,
            words.unit,
            words.decimals,
            fact.limit if mine and below else None,
            fact.limit if mine and not below else None,
            f"/api/v1/readings?{query}",
            f"/sensors/{channel.id}",
        )


def _channels(plant: Plant, fact: AlarmFact) -> list[Channel]:
    """Choose what tells the story: the alarm's own channel, else heat and air of its gun."""
    station = plant.station(fact.station)
    if station is None:
        return []
    if fact.channel is not None and fact.gun is None:
        return [c for c in station.channels if c.id == fact.channel]
    heat, air = Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW
    order = (air, heat) if fact.kind.startswith(("air_", "flow_")) else (heat, air)
    return [c for q in order if (c := station.channel_of(q, fact.gun)) is not None]


def _history(
    facts: Sequence[AlarmFact], acts: Sequence[AlarmAct], shell: Shell
) -> Iterable[Happening]:
    rows = [(f.time, _of_fact(f, shell)) for f in facts if not f.merged_into]
    rows += [(a.time, _of_act(a, shell)) for a in acts]
    return [row for _, row in sorted(rows, key=lambda r: -r[0])]


def _of_fact(fact: AlarmFact, shell: Shell) -> Happening:
    word = CAME if fact.active else WENT
    return Happening(
        shell.moment(fact.time),
        MUTED if fact.suppressed else word,
        fact.what if fact.active and not fact.suppressed else "",
        "",
    )


def _of_act(act: AlarmAct, shell: Shell) -> Happening:
    until = None if act.until is None else shell.moment(act.until)
    ends = "" if until is None else f"→ {until.day} {until.text}"
    words = " ".join(part for part in (act.reason, ends) if part)
    return Happening(shell.moment(act.time), ACTS[act.kind], words, act.actor)

"""The page on the alarms' own quality: whether they serve their people, and who was told."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.bars_drawing import Bars, bars
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.alarms.quality import AlarmQuality, raised_in
from steadybead_domain.plant import Plant
from steadybead_domain.times import DAY

SPANS = {1: mark("24 hours"), 7: mark("7 days"), 30: mark("30 days")}
_PARTS = {1: 24, 7: 28, 30: 30}
_PART_WORDS = {1: mark("an hour each"), 7: mark("6 hours each"), 30: mark("a day each")}
LEAST_HOURS = 1.0
STATES = {
    "waiting": mark("waiting"),
    "delivered": mark("delivered"),
    "failed": mark("failed"),
    "given up": mark("given up"),
}


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition as it was worded last, and how often it came."""

    place: str
    what: str
    raised: int
    href: str


@dataclass(frozen=True, slots=True)
class NoticeFacts:
    """What is known of a notice; `state` is a key of STATES, `why` of the last failure."""

    time: int
    receiver: str
    subject: str
    body: str
    state: str
    tries: int
    why: str


@dataclass(frozen=True, slots=True)
class ReceiverFacts:
    """A receiver as the plant file has it; `state` of its newest notice, empty if it had none."""

    name: str
    way: str
    roles: str
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class NoticeRow:
    """A notice as shown."""

    when: Moment
    receiver: str
    subject: str
    body: str
    state: str
    tries: int
    why: str


@dataclass(frozen=True, slots=True)
class AlarmQualityPage:
    """Figures of the last `days`, their picture, the worst conditions, the notices.

    `per_hour` is a dash until an hour was attended.
    """

    template: ClassVar[str] = "alarm-quality.html"
    shell: Shell
    days: int
    spans: tuple[tuple[int, str], ...]
    start: Moment
    end: Moment
    hours: str
    raised: int
    per_hour: str
    flood_pct: str
    most: int
    chattering: tuple[Condition, ...]
    standing: tuple[Condition, ...]
    worst: tuple[Condition, ...]
    roles: tuple[tuple[str, int], ...]
    bars: Bars
    part_words: str
    receivers: tuple[ReceiverFacts, ...]
    notices: tuple[NoticeRow, ...]


def alarm_quality_page(
    plant: Plant,
    shell: Shell,
    days: int,
    quality: AlarmQuality,
    operator_hours: float,
    facts: Sequence[AlarmFact],
    receivers: Iterable[ReceiverFacts],
    notices: Iterable[NoticeFacts],
) -> AlarmQualityPage:
    """Build the page; `days` is a key of SPANS, `facts` are what `quality` was worked out from."""
    conditions = _Conditions(plant, facts, dict(quality.worst))
    drawn = bars(
        raised_in(facts, quality.start, quality.end),
        quality.end - days * DAY,
        quality.end,
        _PARTS[days],
    )
    return AlarmQualityPage(
        shell,
        days,
        tuple(SPANS.items()),
        shell.moment(quality.start),
        shell.moment(quality.end),
        f"{operator_hours:.1f}",
        quality.raised,
        f"{quality.per_hour:.2f}" if operator_hours >= LEAST_HOURS else "–",
        _percent(quality.flood_share),
        quality.most_in_ten_minutes,
        conditions.of(quality.chattering),
        conditions.of(quality.standing),
        conditions.of(dict(quality.worst)),
        quality.by_role,
        drawn,
        _PART_WORDS[days],
        tuple(receivers),
        tuple(_notice(n, shell) for n in notices),
    )


class _Conditions:
    """Words a condition by its newest fact."""

    def __init__(self, plant: Plant, facts: Iterable[AlarmFact], counts: Mapping[str, int]) -> None:
        self._names = {s.id: s.name or s.id.station for s in plant.stations}
        self._newest = {f.fingerprint: f for f in facts if f.active}
        self._counts = counts

    def of(self, fingerprints: Iterable[str]) -> tuple[Condition, ...]:
        """Show conditions by their fingerprints."""
        return tuple(self._shown(key) for key in fingerprints)

    def _shown(self, key: str) -> Condition:
        fact = self._newest[key]
        place = self._names.get(fact.station, fact.station.station)
        return Condition(place, fact.what, self._counts.get(key, 0), f"/alarms/{fact.alarm}")


def _percent(share: float) -> str:
    return "0 %" if share == 0 else f"{100 * share:.1f} %" if share >= 0.001 else "< 0.1 %"


def _notice(facts: NoticeFacts, shell: Shell) -> NoticeRow:
    return NoticeRow(
        shell.moment(facts.time),
        facts.receiver,
        facts.subject,
        facts.body,
        STATES[facts.state],
        facts.tries,
        facts.why,
    )

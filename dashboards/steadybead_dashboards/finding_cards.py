"""Findings of the diagnosis as pages show them: a quiet line, or a card with its evidence."""

from collections.abc import Iterable
from dataclasses import dataclass

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.diagnosis.standing import Standing, Urgency
from steadybead_domain.plant import Plant

URGENCIES = {
    Urgency.NOW: mark("Now"),
    Urgency.SOON: mark("Soon"),
    Urgency.PLAN: mark("Plan"),
    Urgency.KNOW: mark("For information"),
}
SURENESS = {
    Sureness.CERTAIN: mark("certain"),
    Sureness.LIKELY: mark("likely"),
    Sureness.POSSIBLE: mark("possible"),
    Sureness.CANNOT_TELL: mark("cannot tell which"),
}
_NUMBERS = (
    ("value", mark("value")),
    ("reference", mark("compared with")),
    ("sigma", mark("standard deviation")),
    ("threshold", mark("limit")),
)
_NOTHING = mark("nothing")


@dataclass(frozen=True, slots=True)
class FindingLine:
    """A finding in one line, for floor and station."""

    id: str
    words: str
    urgent: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A number or some words, by name."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class FindingCard:
    """A finding with all that it rests on."""

    id: str
    urgency: str
    urgency_word: str
    station: str
    place: str
    headline: str
    words: str
    next_step: str
    since: Moment
    for_text: str
    told: Moment
    sureness: str
    of_filter: bool
    numbers: tuple[Row, ...]
    evidence: tuple[Row, ...]


def lines_by_station(findings: Iterable[Standing]) -> dict[str, tuple[FindingLine, ...]]:
    """Give for each station a line a finding that asks for something, the most urgent first."""
    lines: dict[str, list[FindingLine]] = {}
    for item in findings:
        if item.urgency is not Urgency.KNOW:
            line = FindingLine(item.id, headline(item.finding), item.urgency is Urgency.NOW)
            lines.setdefault(str(item.finding.station), []).append(line)
    return {station: tuple(found) for station, found in lines.items()}


def finding_cards(
    findings: Iterable[Standing], plant: Plant, shell: Shell
) -> tuple[FindingCard, ...]:
    """Show what asks for something, in the order in which to take it."""
    names = {s.id: s.name or s.id.station for s in plant.stations}
    return tuple(
        _card(item, names.get(item.finding.station, item.finding.station.station), shell)
        for item in findings
        if item.urgency is not Urgency.KNOW
    )


def headline(finding: Finding) -> str:
    """Give the first thing that a finding says."""
    first = finding.words.split("; ", 1)[0].split(". ", 1)[0].rstrip(".")
    return first[:1].upper() + first[1:]


def figure(value: float, unit: str = "") -> str:
    """Print a number of any size with three figures, and its unit."""
    digits = f"{value:.3g}"
    shown = f"{value:.0f}" if "e" in digits and abs(value) >= 1 else digits
    return f"{shown} {'°C' if unit == 'Cel' else unit}".rstrip().replace("-", "\N{MINUS SIGN}")


def _card(item: Standing, place: str, shell: Shell) -> FindingCard:
    found = item.finding
    return FindingCard(
        item.id,
        item.urgency.word,
        URGENCIES[item.urgency],
        str(found.station),
        place,
        headline(found),
        found.words,
        found.next_step,
        shell.moment(found.since),
        span_text(shell.now - found.since),
        shell.moment(found.time),
        SURENESS[found.sureness],
        found.kind.startswith("filter_"),
        tuple(
            Row(name, figure(value, found.unit))
            for field, name in _NUMBERS
            if (value := getattr(found, field)) is not None
        ),
        tuple(_evidence(found)),
    )


def _evidence(finding: Finding) -> Iterable[Row]:
    for name, value in finding.evidence:
        shown = name.replace("_", " ")
        if isinstance(value, str):
            yield Row(shown, value)
        elif value is not None:
            yield Row(shown, figure(value))
        elif name.startswith(("for ", "against ")):
            yield Row(shown, _NOTHING)

"""The quality page: search, what the verdicts said lately, and what is not on record."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Final

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_dashboards.weld_list import NOT_JUDGED
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.unrecorded import Stretch
from steadybead_domain.verdict.model import Conclusion
from steadybead_domain.welds import Weld

WORDS: Final = (*(c.value for c in Conclusion), "")


@dataclass(frozen=True, slots=True)
class Share:
    """How many finished welds have a verdict; `percent` is of those judged, empty without any."""

    word: str
    count: int
    percent: str
    href: str


@dataclass(frozen=True, slots=True)
class Unrecorded:
    """Hot time of a gun without a record: how long in all, and the longest stretch."""

    place: str
    gun: str
    href: str
    total: str
    longest: str
    since: Moment


@dataclass(frozen=True, slots=True)
class Unapproved:
    """A procedure that stations use and nobody approved."""

    title: str
    href: str
    revision: int


@dataclass(frozen=True, slots=True)
class QualityPage:
    """`days` is the time that the shares are of; `hours` that of the hot time."""

    template: ClassVar[str] = "quality.html"
    shell: Shell
    days: int
    finished: int
    cannot_tell: str
    shares: tuple[Share, ...]
    doubtful: tuple[WeldRow, ...]
    hours: int
    hot: tuple[Unrecorded, ...]
    unapproved: tuple[Unapproved, ...]


@dataclass(frozen=True, slots=True)
class QualityFacts:
    """What the page shows, as it was found."""

    days: int
    counts: Mapping[str, int]
    doubtful: Sequence[Weld]
    verdicts: Mapping[str, tuple[str, int]]
    hours: int
    hot: Mapping[tuple[StationId, str], Sequence[Stretch]]
    unapproved: Sequence[Procedure]


def quality_page(
    plant: Plant, facts: QualityFacts, procedures: Mapping[str, Procedure], shell: Shell
) -> QualityPage:
    """Build the page."""
    counts = facts.counts
    judged = sum(n for word, n in counts.items() if word)
    unknown = counts.get(Conclusion.CANNOT_TELL.value, 0)
    rows = tuple(
        replace(
            weld_row(w, plant, procedures, shell),
            verdict=facts.verdicts.get(w.id, ("", 0))[0],
            excursions=facts.verdicts.get(w.id, ("", 0))[1],
        )
        for w in facts.doubtful
    )
    return QualityPage(
        shell,
        facts.days,
        sum(counts.values()),
        _percent(unknown, judged),
        tuple(_share(word, counts.get(word, 0), judged) for word in WORDS),
        rows,
        facts.hours,
        tuple(_hot(plant, facts.hot, shell)),
        tuple(Unapproved(p.title, f"/procedures/{p.id}", p.revision) for p in facts.unapproved),
    )


def _share(word: str, count: int, judged: int) -> Share:
    asked = (word or NOT_JUDGED).replace(" ", "+")
    return Share(word, count, _percent(count, judged) if word else "", f"/welds?verdict={asked}")


def _percent(count: int, judged: int) -> str:
    return f"{100 * count / judged:.0f} %" if judged else ""


def _hot(
    plant: Plant, hot: Mapping[tuple[StationId, str], Sequence[Stretch]], shell: Shell
) -> Iterable[Unrecorded]:
    ordered = sorted(hot.items(), key=lambda item: -sum(b - a for a, b in item[1]))
    for (station, gun), stretches in ordered:
        if not stretches:
            continue
        longest = max(stretches, key=lambda s: s[1] - s[0])
        known = plant.station(station)
        yield Unrecorded(
            known.name if known is not None and known.name else station.station,
            gun,
            f"/stations/{station}",
            span_text(sum(b - a for a, b in stretches)),
            span_text(longest[1] - longest[0]),
            shell.moment(longest[0]),
        )

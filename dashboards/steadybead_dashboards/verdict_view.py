"""The verdict on heat and air as a page shows it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.seam_drawing import SeamDrawing, seam_drawing
from steadybead_dashboards.sensor_words import figure, two_figures
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_dashboards.words import QUANTITIES
from steadybead_domain.quantities import Quantity
from steadybead_domain.verdict.model import Conclusion, Excursion, Judgement, Side, Verdict

WORDS: Final = {
    Conclusion.CONFORMS: mark("Heat and air conform"),
    Conclusion.DOES_NOT_CONFORM: mark("Heat and air do not conform"),
    Conclusion.CANNOT_TELL: mark("Heat and air: cannot tell"),
}
SIDES: Final = {
    (Quantity.NOZZLE_TEMPERATURE, Side.BELOW): mark("too cold"),
    (Quantity.NOZZLE_TEMPERATURE, Side.ABOVE): mark("too hot"),
    (Quantity.AIR_FLOW, Side.BELOW): mark("too little air"),
    (Quantity.AIR_FLOW, Side.ABOVE): mark("too much air"),
}
MOST_ROWS: Final = 60


@dataclass(frozen=True, slots=True)
class QuantityRow:
    """What is said of one quantity; a text is empty where there is nothing to say."""

    label: str
    conclusion: str
    window: str
    accepted: str
    expanded: str
    lowest: str
    highest: str
    unit: str
    inside: str
    note: str


@dataclass(frozen=True, slots=True)
class ExcursionRow:
    """One excursion; `places` says where on the seam, empty where that is not known."""

    number: int
    what: str
    start: Moment
    length: str
    peak: str
    beyond: str
    area: str
    places: tuple[str, ...]
    beyond_doubt: bool


@dataclass(frozen=True, slots=True)
class ReasonRow:
    """One reason for *cannot tell*; `start` None: it is about the whole record."""

    text: str
    start: Moment | None


@dataclass(frozen=True, slots=True)
class VerdictView:
    """A verdict in words and figures, with the seam to scale."""

    conclusion: str
    word: str
    rule: str
    risk: float
    quantities: tuple[QuantityRow, ...]
    reasons: tuple[ReasonRow, ...]
    excursions: tuple[ExcursionRow, ...]
    excursions_left_out: int
    runs: int
    runs_from: str
    welded: str
    seam: SeamDrawing | None
    seam_length: str
    seam_basis: str
    seam_words: tuple[str, ...]
    not_proven: tuple[str, ...]


def verdict_view(verdict: Verdict, shell: Shell) -> VerdictView:
    """Show a verdict; times in the site's zone."""
    seam = verdict.seam
    excursions = verdict.excursions
    rows = [_excursion(n, e, verdict, shell) for n, e in enumerate(excursions[:MOST_ROWS])]
    left_out = len(excursions) - len(rows)
    left_out += sum(j.excursions_left_out for j in verdict.judgements)
    return VerdictView(
        verdict.conclusion.value,
        WORDS[verdict.conclusion],
        verdict.rule.words,
        verdict.rule.risk,
        tuple(_quantity(j) for j in verdict.judgements),
        tuple(
            ReasonRow(r.text, None if r.start is None else shell.moment(r.start))
            for r in verdict.reasons
        ),
        tuple(rows),
        left_out,
        len(verdict.runs),
        verdict.runs_from,
        span_text(sum(r.end - r.start for r in verdict.runs)),
        None if seam is None else seam_drawing(seam, excursions),
        "" if seam is None else f"{seam.length_mm:.0f} mm",
        "" if seam is None else seam.basis.value,
        () if seam is None else seam.words,
        verdict.not_proven,
    )


def _quantity(item: Judgement) -> QuantityRow:
    words = QUANTITIES[item.quantity]
    limits = item.guarded
    share = item.share_inside

    def shown(value: float | None) -> str:
        return "–" if value is None else figure(value, item.quantity)

    accepted = ""
    if limits is not None and limits.can_conform:
        accepted = _range(limits.accept_low, limits.accept_high, item.quantity)
    return QuantityRow(
        words.label,
        item.conclusion.value,
        "" if limits is None else _range(limits.low, limits.high, item.quantity),
        accepted,
        "" if limits is None else two_figures(limits.expanded),
        shown(item.lowest),
        shown(item.highest),
        words.unit,
        "–" if share is None else f"{100 * share:.1f} %",
        _once((item.note, *item.assumptions)),
    )


def _once(notes: Iterable[str]) -> str:
    """Join notes; what two of them say is said once."""
    parts = (part.strip() for note in notes for part in note.split(";"))
    return "; ".join(dict.fromkeys(part for part in parts if part))


def _excursion(number: int, item: Excursion, verdict: Verdict, shell: Shell) -> ExcursionRow:
    unit = QUANTITIES[item.quantity].unit
    places = []
    if verdict.seam is not None:
        several = verdict.seam.beads > 1
        for s in verdict.seam.stretches:
            if s.excursion == number:
                bead = f"{s.bead}: " if several else ""
                give = max(s.start_give_mm, s.end_give_mm)
                places.append(f"{bead}{s.start_mm:.0f} – {s.end_mm:.0f} mm ± {give:.0f}")
    area_unit = "K·s" if unit == "°C" else f"{unit}·s"
    return ExcursionRow(
        number + 1,
        SIDES[item.quantity, item.side],
        shell.moment(item.start),
        f"{item.length_s:.1f} s" if item.length_s < 60 else span_text(item.end - item.start),
        f"{figure(item.peak, item.quantity)} {unit}",
        f"{figure(abs(item.peak - item.limit), item.quantity)} {'K' if unit == '°C' else unit}",
        f"{item.area:.3g} {area_unit}",
        tuple(places),
        item.beyond_doubt,
    )


def _range(low: float | None, high: float | None, quantity: Quantity) -> str:
    ends = ("…" if end is None else _plain(figure(end, quantity)) for end in (low, high))
    return " – ".join(ends)


def _plain(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text

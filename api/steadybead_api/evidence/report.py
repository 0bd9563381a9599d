"""The readable report of an evidence file."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from steadybead_api.evidence.bundle import Bundle
from steadybead_api.evidence.plot import HEIGHT, clock_words, draw_quantity, draw_seam
from steadybead_api.evidence.report_facts import Facts
from steadybead_api.evidence.report_words import MOST_ROWS, UNITS, Chapter, joined, named, span
from steadybead_api.evidence.sheet import SOFT, Sheet
from steadybead_api.figures import Figures
from steadybead_domain.verdict.model import Excursion, Judgement

POINTS: Final = 500
FOOT: Final = "Heat and air only: no statement about the weld itself."


def write_report(bundle: Bundle, source: Figures, timezone: str, site: str) -> Sheet:
    """Write all pages; the attachments are not on it yet. `source` gives judged figures."""
    sheet = Sheet(
        f"Weld record {bundle.record.id}", f"{bundle.record.id} · {FOOT}", bundle.exported
    )
    zone = ZoneInfo(timezone)
    _Findings(sheet, bundle, source, zone, site).write()
    Facts(sheet, bundle, source, zone, site).write()
    return sheet


class _Findings(Chapter):
    """Writes the record, the verdict and where it lies."""

    def write(self) -> None:
        self.head()
        self.verdict()
        self.quantities()
        self.excursions()
        self.seam()

    def head(self) -> None:
        sheet, record = self._sheet, self._bundle.record
        sheet.ink(size=16.0, style="B")
        title = " · ".join(
            filter(
                None, (record.job and f"Job {record.job}", record.seam and f"seam {record.seam}")
            )
        )
        sheet.multi_cell(180.0, 8.0, sheet.fit(title or f"Weld record {record.id}"), align="L")
        sheet.set_x(15.0)
        sheet.ln(1.0)
        sheet.paragraph("Record of heat and air of one hot-gas weld", SOFT)
        told = self._bundle.weld
        length = told.get("seam_length_mm")
        sheet.pairs(
            [
                ("record", record.id),
                ("station", f"{self._site}, {record.station.station}, gun {record.gun}"),
                ("start", self._moment(record.start)),
                ("stop", "never" if record.stop is None else self._moment(record.stop)),
                ("welder", str(told.get("welder") or "")),
                ("qualification", self._qualification(told)),
                ("drawing", str(told.get("drawing") or "")),
                ("seam length", f"{length:g} mm" if length else ""),
                ("sheet", joined(told, "sheet", "sheet_batch", "thickness_mm")),
                ("rod", joined(told, "rod", "rod_batch")),
                ("beads", str(told.get("beads") or "")),
                ("visual result", str(told.get("visual") or "")),
                ("trial weld", str(told.get("trial") or "")),
                ("remarks", str(told.get("remarks") or "")),
                (
                    "exported",
                    f"{self._moment(self._bundle.exported)} by {self._bundle.exported_by}",
                ),
            ]
        )
        self._procedure()

    def _qualification(self, told: dict[str, Any]) -> str:
        expires = told.get("qualification_expires")
        words = str(told.get("qualification") or "")
        return f"{words}, until {expires}" if expires else words

    def _procedure(self) -> None:
        held = self._bundle.frame.procedure
        if held is None:
            return
        item = held.procedure
        words = f"{item.title}, revision {item.revision}; {item.source}, {item.edition}"
        found = sorted(n for n, w in item.provenance.items() if "memory" in w)
        self._sheet.ln(1.5)
        approved = (
            f"approved by {held.approved_by} on {self._day(held.approved_at)}"
            if held.approved_at is not None
            else "not approved by anybody"
        )
        self._sheet.paragraph(f"Procedure {item.id}: {words}; {approved}.")
        if found:
            named = ", ".join(n.removesuffix("_s").replace("_", " ") for n in found)
            self._sheet.paragraph(f"From memory in it, to be verified: {named}.", SOFT)

    def verdict(self) -> None:
        sheet, verdict = self._sheet, self._bundle.verdict
        sheet.heading("Verdict on heat and air")
        sheet.ink(size=14.0, style="B")
        sheet.multi_cell(180.0, 7.0, f"Heat and air: {verdict.conclusion.value}", align="L")
        sheet.set_x(15.0)
        sheet.ln(1.0)
        sheet.paragraph(f"Decision rule: {verdict.rule.words}.")
        sheet.paragraph(f"Judged: {verdict.runs_from}.")
        sheet.points([r.text for r in verdict.reasons])

    def quantities(self) -> None:
        rows = [self._row(j) for j in self._bundle.verdict.judgements]
        if not rows:
            return
        self._sheet.ln(1.5)
        head = ("quantity", "verdict", "window", "accepted", "lowest, highest mean", "U", "inside")
        self._sheet.rows(head, rows, (26, 26, 28, 28, 34, 16, 22))
        for judgement in self._bundle.verdict.judgements:
            if judgement.note:
                self._sheet.paragraph(judgement.note[:1].upper() + judgement.note[1:] + ".", SOFT)
        for judgement in self._bundle.verdict.judgements:
            self._plot(judgement)

    def _row(self, item: Judgement) -> tuple[str, ...]:
        limits, share = item.guarded, item.share_inside
        unit = UNITS.get(item.unit, item.unit)
        accepted = (
            "–"
            if limits is None or not limits.can_conform
            else span(limits.accept_low, limits.accept_high, unit)
        )
        return (
            named(item),
            item.conclusion.value,
            "–" if limits is None else span(limits.low, limits.high, unit),
            accepted,
            span(item.lowest, item.highest, unit),
            "–" if limits is None else f"{limits.expanded:.2g} {unit}",
            "–" if share is None else f"{100 * share:.1f} % of {item.covered_s:.0f} s",
        )

    def _plot(self, item: Judgement) -> None:
        covered = self._bundle.frame
        if item.channel is None or covered.end <= covered.start:
            return
        whole = self._source.buckets(item.channel, covered.start, covered.end, 1)
        readings = int(whole.n.sum())
        if readings == 0:
            return
        points = max(min(POINTS, readings // 2), 1)  # each bucket has readings, gaps stay gaps
        buckets = self._source.buckets(item.channel, covered.start, covered.end, points)
        words = clock_words(covered.end - covered.start)
        record = self._bundle.record
        stop = covered.end if record.stop is None else record.stop
        self._sheet.heading(f"{named(item).capitalize()} of {item.channel}", HEIGHT + 32.0)
        self._sheet.ln(2.0)
        draw_quantity(
            self._sheet,
            item,
            buckets,
            (record.start, stop),
            lambda time: self._there(time).strftime(words),
        )
        caption = (
            "Green: window of the procedure; dashed: what is accepted; line: mean with U about it;"
            " bars beneath: excursions, filled where beyond doubt; upright lines: start and stop."
        )
        self._sheet.paragraph(f"{caption} Times of {self._zone.key}.", SOFT)

    def excursions(self) -> None:
        found = self._bundle.verdict.excursions
        self._sheet.heading("Excursions")
        if not found:
            self._sheet.paragraph("None: no good reading lies outside a window.")
            return
        rows = [self._excursion(i, e) for i, e in enumerate(found[:MOST_ROWS])]
        head = ("no.", "quantity", "start", "length", "furthest", "area outside", "beyond doubt")
        self._sheet.rows(head, rows, (10, 34, 42, 20, 26, 30, 18))
        if len(found) > MOST_ROWS:
            more = len(found) - MOST_ROWS
            self._sheet.paragraph(f"{more} more stand in the attachment verdict.json.", SOFT)

    def _excursion(self, number: int, item: Excursion) -> tuple[str, ...]:
        unit = UNITS.get(item.unit, item.unit)
        return (
            str(number + 1),
            f"{item.quantity.value.replace('_', ' ')} {item.side.value}",
            self._moment(item.start),
            f"{item.length_s:.1f} s",
            f"{item.peak:.1f} {unit}",
            f"{item.area:.0f} {unit}·s",
            "yes" if item.beyond_doubt else "no",
        )

    def seam(self) -> None:
        seam = self._bundle.verdict.seam
        beads = 0 if seam is None else min(seam.beads, 12)
        self._sheet.heading("Along the seam", 30.0 + 7.0 * beads)
        if seam is None:
            text = "Neither its length nor a travel speed is known: no place can be given."
            self._sheet.paragraph(text)
            return
        draw_seam(self._sheet, seam)
        rows = [
            (
                str(s.excursion + 1),
                str(s.bead),
                f"{s.start_mm:.0f} ± {s.start_give_mm:.0f} mm",
                f"{s.end_mm:.0f} ± {s.end_give_mm:.0f} mm",
            )
            for s in seam.stretches[:MOST_ROWS]
        ]
        if rows:
            self._sheet.rows(("excursion", "bead", "from", "to"), rows, (30, 20, 65, 65))
        self._sheet.points(seam.words, SOFT)

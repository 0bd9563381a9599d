"""The readable report of an evidence file."""

import datetime as dt
from typing import Any, Final
from zoneinfo import ZoneInfo

from steadybead_api.evidence.bundle import Bundle
from steadybead_api.evidence.plot import HEIGHT, clock_words, draw_quantity, draw_seam
from steadybead_api.evidence.sheet import SOFT, Sheet
from steadybead_api.figures import Figures
from steadybead_domain.calibration.due import CalibrationState
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import EPOCH, SECOND
from steadybead_domain.verdict.model import Excursion, Judgement

MOST_ROWS: Final = 40
POINTS: Final = 500
MOST_TERMS: Final = 4
FOOT: Final = "Heat and air only: no statement about the weld itself."
CAUTIONS: Final = (
    (
        "This file speaks of the recorded heat and air. Whether a weld holds is for the tests that"
        " the procedure and its standard ask for."
    ),
    (
        "Steadybead watches; it switches nothing and is no safety device. It never says that a gun"
        " is safe to touch. Hot gas, fumes and electricity: local codes and licensed practice come"
        " first."
    ),
    (
        "The signature shows that the file has not changed since it was signed with that key. It"
        " does not show that the sensors were right, that the entries are true, or when it was"
        " signed."
    ),
)
_UNITS: Final = {"Cel": "°C"}


def write_report(bundle: Bundle, source: Figures, timezone: str, site: str) -> Sheet:
    """Write all pages; the attachments are not on it yet. `source` gives judged figures."""
    sheet = Sheet(
        f"Weld record {bundle.record.id}", f"{bundle.record.id} · {FOOT}", bundle.exported
    )
    writer = _Writer(sheet, bundle, source, ZoneInfo(timezone), site)
    writer.head()
    writer.verdict()
    writer.quantities()
    writer.excursions()
    writer.seam()
    writer.measuring()
    writer.alarms()
    writer.amendments()
    writer.limits()
    writer.proof()
    return sheet


class _Writer:
    def __init__(
        self, sheet: Sheet, bundle: Bundle, source: Figures, zone: ZoneInfo, site: str
    ) -> None:
        self._sheet, self._bundle, self._source = sheet, bundle, source
        self._zone, self._site = zone, site

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
                ("sheet", _joined(told, "sheet", "sheet_batch", "thickness_mm")),
                ("rod", _joined(told, "rod", "rod_batch")),
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
            named = ", ".join(n.replace("_", " ") for n in found)
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
        unit = _UNITS.get(item.unit, item.unit)
        accepted = (
            "–"
            if limits is None or not limits.can_conform
            else _span(limits.accept_low, limits.accept_high, unit)
        )
        return (
            _named(item),
            item.conclusion.value,
            "–" if limits is None else _span(limits.low, limits.high, unit),
            accepted,
            _span(item.lowest, item.highest, unit),
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
        self._sheet.heading(f"{_named(item).capitalize()} of {item.channel}", HEIGHT + 32.0)
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
        unit = _UNITS.get(item.unit, item.unit)
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

    def measuring(self) -> None:
        self._sheet.heading("Sensors at that time")
        measuring, record = self._bundle.measuring, self._bundle.record
        rows = []
        for channel in self._bundle.frame.channels:
            fitted = measuring.fitted(channel.id, record.start)
            instrument = (
                None if fitted is None else measuring.instruments.get(fitted.fitting.instrument)
            )
            state = "" if instrument is None else measuring.due(instrument, record.start).state
            stretch = measuring.line(channel.id).at(record.start)
            used = stretch.calibration
            rows.append(
                (
                    channel.id.channel,
                    "not on record" if instrument is None else instrument.serial,
                    "" if instrument is None else str(CalibrationState(state)),
                    "none" if used is None else f"{used.id}, {self._day(used.performed)}",
                )
            )
        head = ("channel", "serial", "calibration", "calibration in force")
        self._sheet.rows(head, rows, (40, 40, 40, 60))
        self._doubts()
        self._filter()
        assumed = [a for j in self._bundle.verdict.judgements for a in j.assumptions]
        if assumed:
            self._sheet.paragraph(f"Taken for granted: {'; '.join(dict.fromkeys(assumed))}.", SOFT)

    def _doubts(self) -> None:
        """Name the largest terms of each budget."""
        average_s = self._bundle.verdict.rule.average_s
        rows = []
        for item in self._bundle.verdict.judgements:
            if item.budget is not None:
                terms = item.budget.over(average_s).largest_first()[:MOST_TERMS]
                unit = _UNITS.get(item.unit, item.unit)
                rows += [
                    (
                        _named(item),
                        t.name,
                        f"{abs(t.contribution):.2g} {unit}",
                        "assumed" if t.assumed else "on record",
                    )
                    for t in terms
                ]
        if rows:
            self._sheet.ln(1.5)
            head = ("quantity", "largest terms of doubt", "standard", "")
            self._sheet.rows(head, rows, (36, 90, 28, 26))

    def _filter(self) -> None:
        """Tell the state of the intake filter by its pressure drop."""
        covered = self._bundle.frame
        own = (c for c in covered.channels if c.quantity is Quantity.FILTER_PRESSURE_DROP)
        channel = next(own, None)
        if channel is None:
            self._sheet.paragraph("Intake filter: no pressure drop is measured.", SOFT)
            return
        found = self._source.buckets(
            channel.id, covered.start, max(covered.end, covered.start + 1), 1
        )
        if len(found) and found.n[0]:
            limit = self._bundle.filter_limit_pa
            held = f", limit {limit:g} Pa" if limit is not None else ", no limit is set"
            text = f"Intake filter: {found.mean[0]:.0f} Pa on the mean{held}."
            self._sheet.paragraph(text, SOFT)

    def alarms(self) -> None:
        self._sheet.heading("Alarms from an hour before")
        told = self._bundle.alarms
        if not told:
            self._sheet.paragraph("None was raised.")
            return
        rows = [
            (self._moment(a.time), "came" if a.active else "went", a.priority.value, a.what)
            for a in told[:MOST_ROWS]
        ]
        self._sheet.rows(("time", "", "priority", "what"), rows, (42, 14, 20, 104))

    def amendments(self) -> None:
        bundle = self._bundle
        self._sheet.heading("Amendments and sign-offs")
        lines = [
            f"{self._moment(a['time'])}, {a['author']}: "
            + "; ".join(f"{c['field']}: {c['before']} becomes {c['after']}" for c in a["changes"])
            + (f" ({a['reason']})" if a["reason"] else "")
            for a in bundle.amendments
        ]
        lines += [
            f"{self._moment(s['time'])}: signed off as {s['as_role']}"
            f" by {s['name'] or '(withheld)'}"
            + ("" if s["covers"] else "; it does not cover later amendments")
            for s in bundle.signatures
        ]
        self._sheet.points(lines or ["None."])

    def limits(self) -> None:
        self._sheet.heading("What the log cannot prove")
        self._sheet.points(self._bundle.verdict.not_proven)
        self._sheet.heading("Cautions")
        self._sheet.points(CAUTIONS)

    def proof(self) -> None:
        self._sheet.heading("How to check this file")
        evidenced = self._bundle.evidenced
        self._sheet.paragraph(
            "Run: steadybead verify FILE, on any machine, without the shop's data; with --key and"
            " the shop's public key it also checks who signed. Attached: raw readings, procedure,"
            " calibrations, alarms, amendments, a list of all with their hashes, and the signature."
        )
        self._sheet.paragraph(f"Claim: {evidenced.claim}.", style="B")
        self._sheet.points(evidenced.faults)
        self._sheet.points(
            [f"daily root {r['id']}: {r['root']}" for r in evidenced.account["roots"]], SOFT
        )

    def _there(self, time: int) -> dt.datetime:
        return (EPOCH + dt.timedelta(microseconds=time)).astimezone(self._zone)

    def _moment(self, time: int) -> str:
        return self._there(time // SECOND * SECOND).strftime("%Y-%m-%d %H:%M:%S %Z")

    def _day(self, time: int) -> str:
        return self._there(time).strftime("%Y-%m-%d")


def _named(item: Judgement) -> str:
    return item.quantity.value.replace("_", " ")


def _joined(told: dict[str, Any], *names: str) -> str:
    found = [str(told[n]) for n in names if told.get(n)]
    return ", ".join(found)


def _span(low: float | None, high: float | None, unit: str) -> str:
    if low is None and high is None:
        return "–"
    left = "…" if low is None else f"{low:.4g}"
    right = "…" if high is None else f"{high:.4g}"
    return f"{left} to {right} {unit}"

"""The later part of a report: sensors, doubts, alarms, amendments, limits, how to check it."""

from typing import Final

from steadybead_api.evidence.report_words import MOST_ROWS, UNITS, Chapter, named
from steadybead_api.evidence.sheet import SOFT
from steadybead_domain.calibration.due import CalibrationState
from steadybead_domain.quantities import Quantity

MOST_TERMS: Final = 4
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


class Facts(Chapter):
    """Writes what the verdict stands on, and what it does not say."""

    def write(self) -> None:
        """Write it all."""
        self._measuring()
        self._alarms()
        self._amendments()
        self._limits()
        self._proof()

    def _measuring(self) -> None:
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
                unit = UNITS.get(item.unit, item.unit)
                rows += [
                    (
                        named(item),
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

    def _alarms(self) -> None:
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

    def _amendments(self) -> None:
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

    def _limits(self) -> None:
        self._sheet.heading("What the log cannot prove")
        self._sheet.points(self._bundle.verdict.not_proven)
        self._sheet.heading("Cautions")
        self._sheet.points(CAUTIONS)

    def _proof(self) -> None:
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

"""The sheet to cut by: the seam to scale, each strip in mm with its ±."""

import datetime as dt
from typing import Final
from zoneinfo import ZoneInfo

from steadybead_api.evidence.sheet import LEFT, LINE, SOFT, WIDTH, Sheet
from steadybead_collector.records.cuts import KeptPlan
from steadybead_domain.times import EPOCH, SECOND
from steadybead_domain.verdict.cutplan import CutPlan, Strand
from steadybead_domain.welds import Weld

_COLOURS: Final = {
    Strand.WORST: (176, 64, 20),
    Strand.BORDERLINE: (120, 92, 20),
    Strand.CONTROL: (28, 62, 122),
}
FOOT: Final = "Marks from where the record began; check which end of the seam that is."


def cut_sheet(weld: Weld, kept: KeptPlan, now: int, timezone: str) -> bytes:
    """Give the sheet as a PDF."""
    plan = kept.plan
    sheet = Sheet(f"Cut plan {kept.id}", f"{kept.id} · {FOOT}", now)
    sheet.ink(size=16.0, style="B")
    names = [weld.job and f"job {weld.job}", weld.seam and f"seam {weld.seam}", weld.id]
    sheet.multi_cell(WIDTH, 8.0, sheet.fit("Cut plan: " + ", ".join(filter(None, names))))
    sheet.set_x(LEFT)
    sheet.ln(2.0)
    made = EPOCH + dt.timedelta(microseconds=kept.entered // SECOND * SECOND)
    sheet.pairs(
        [
            ("made", made.astimezone(ZoneInfo(timezone)).strftime("%Y-%m-%d %H:%M:%S %Z")),
            ("by", kept.author),
            ("reason", kept.reason),
            ("heat and air", kept.verdict),
            ("seam", f"{plan.length_mm:.0f} mm"),
            ("strip", f"{plan.width_mm:g} mm wide"),
        ]
    )
    sheet.heading("Where to cut")
    _draw(sheet, plan)
    rows = [
        (
            s.label,
            s.strand.value,
            str(s.bead),
            f"{s.start_mm:.0f} to {s.end_mm:.0f} mm",
            f"± {s.give_mm:.0f} mm",
            s.about,
        )
        for s in plan.strips
    ]
    head = ("strip", "for", "bead", "cut", "place known", "what it shows")
    sheet.rows(head, rows, (14, 24, 14, 38, 26, 64))
    sheet.points(plan.left_out, SOFT)
    sheet.heading("Before cutting")
    sheet.points(_CARE)
    return sheet.finished()


_CARE: Final = (
    "Write the label on each strip and on the sheet before it is cut; keep the order.",
    (
        "The ± is how well the place is known, not how well to cut. Where several strips carry one"
        " letter, all of them together meet the stretch; one alone may miss it."
    ),
    "The test (EN 12814: bend, tensile) and its requirement are chosen by the procedure.",
    "Enter each result at the record: the rest of the seam is judged by it, step by step.",
)


def _draw(sheet: Sheet, plan: CutPlan) -> None:
    top = sheet.get_y() + 6.0
    scale = WIDTH / plan.length_mm
    sheet.set_fill_color(*LINE)
    sheet.rect(LEFT, top, WIDTH, 5.0, style="F")
    for strip in plan.strips:
        colour = _COLOURS[strip.strand]
        left = LEFT + strip.start_mm * scale
        width = max((strip.end_mm - strip.start_mm) * scale, 0.8)
        sheet.set_fill_color(*colour)
        sheet.rect(left, top - 1.0, width, 7.0, style="F")
        sheet.ink(colour, 8.0, "B")
        sheet.set_xy(left + width / 2 - 5.0, top - 5.2)
        sheet.cell(10.0, 4.0, strip.label, align="C")
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        align, back = {0.0: ("L", 0.0), 1.0: ("R", 24.0)}.get(share, ("C", 12.0))
        sheet.ink(SOFT, 7.5)
        sheet.set_xy(LEFT + WIDTH * share - back, top + 6.8)
        sheet.cell(24.0, 4.0, f"{plan.length_mm * share:.0f} mm", align=align)
    sheet.set_xy(LEFT, top + 13.0)

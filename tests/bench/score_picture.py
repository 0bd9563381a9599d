"""The scoreboard as a picture: how each kind of fault ended, and the filter's forecasts."""

from collections.abc import Iterator

import pandas as pd

from bench.score_match import Outcome
from bench.score_tables import JUDGED, OWN
from steadybead_simulator.svg import GREY, document, rectangle, text

COLOURS = {
    Outcome.RIGHT: "#0b5cad",
    Outcome.CANNOT_TELL: "#7fb2e5",
    Outcome.SIGN: "#a9c4a0",
    Outcome.WRONG: "#b32400",
    Outcome.NOT_DETECTABLE: "#d8dee4",
    Outcome.NO_CHANNEL: "#eaeef2",
    Outcome.MISSED: "#e0b878",
}
DARK = (Outcome.RIGHT, Outcome.WRONG)
LEFT, WIDE, ROW, TOP = 190.0, 620.0, 20.0, 74.0
SIDE = 300.0


def picture(faults: pd.DataFrame, taken: pd.DataFrame) -> str:
    """Draw both panels one under another."""
    body = [*_legend()]
    height = TOP
    if not faults.empty:
        body += _kinds(faults)
        height += ROW * faults[faults["outcome"] != Outcome.IDLE]["kind"].nunique() + 30
    if not taken.empty:
        body += _forecasts(taken, height)
        height += SIDE + 70
    return document(
        "What the diagnosis made of simulated faults", "".join(body), 860, round(height)
    )


def _legend() -> Iterator[str]:
    x = 20.0
    for outcome, colour in COLOURS.items():
        yield rectangle(x, 38, (12, 12), colour)
        yield text(x + 16, 48, outcome.value, size=11)
        x += 34 + 6.3 * len(outcome.value)


def _kinds(faults: pd.DataFrame) -> Iterator[str]:
    judged = faults[faults["outcome"] != Outcome.IDLE]
    counts = pd.crosstab(judged["kind"], judged["outcome"])
    counts = counts.reindex(columns=JUDGED, fill_value=0)
    for i, (kind, row) in enumerate(counts.iterrows()):
        y, total = TOP + ROW * i, int(row.sum())
        yield text(LEFT - 8, y + 13, f"{kind}".replace("_", " "), anchor="end")
        yield text(LEFT + WIDE + 6, y + 13, str(total), size=11, fill=GREY)
        x = LEFT
        for outcome in JUDGED:
            wide = WIDE * int(row[outcome]) / total
            if wide <= 0:
                continue
            yield rectangle(x, y + 2, (wide - 1, 15.0), COLOURS[outcome])
            ink = "#ffffff" if outcome in DARK else "#24292f"
            yield text(x + wide / 2, y + 13, str(row[outcome]), size=10, anchor="middle", fill=ink)
            x += wide


def _forecasts(taken: pd.DataFrame, top: float) -> Iterator[str]:
    """Draw the told hours with their interval over the true ones, each filter a column."""
    own = taken[taken["method"] == OWN]
    yield text(20, top + 10, "Filter: hours told (dot, 80 % interval) over the true ones")
    base, most = top + SIDE, 3.0

    def level(ratio: float) -> float:
        return base - min(ratio, most) / most * (SIDE - 40)

    for ratio in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0):
        colour = GREY if ratio == 1.0 else "#d8dee4"
        yield f'<path d="M70 {level(ratio):.1f}h740" stroke="{colour}"/>'
        yield text(62, level(ratio) + 4, f"{ratio:g}", anchor="end", fill=GREY)
    shares = sorted(own["share"].unique())
    wide = 740.0 / max(len(shares), 1)
    for i, share in enumerate(shares):
        rows = own[own["share"] == share].sort_values("middle_h").to_dict("records")
        x0 = 70 + wide * i
        label = f"at {share:.0%} of the life"
        yield text(x0 + wide / 2, base + 18, label, anchor="middle", fill=GREY)
        for j, row in enumerate(rows):
            x = x0 + wide * (j + 1) / (len(rows) + 1)
            low, middle, high = (row[f"{n}_h"] / row["true_h"] for n in ("low", "middle", "high"))
            colour = "#0b5cad" if low <= 1.0 <= high else "#b35900"
            span = f"M{x:.1f} {level(low):.1f}V{level(high):.1f}"
            yield f'<path d="{span}" stroke="{colour}" stroke-width="2"/>'
            yield f'<circle cx="{x:.1f}" cy="{level(middle):.1f}" r="2.6" fill="{colour}"/>'

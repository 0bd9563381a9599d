"""The scoreboard as Markdown for people and as JSON for programs."""

import json
from typing import Any

import pandas as pd

from bench.score_goals import goals
from bench.score_match import MEANT, Outcome
from bench.score_tables import (
    FOUND,
    baselines,
    by_kind,
    examples,
    false_rates,
    filters,
    found_by_level,
    markdown,
    own_drifts,
    shown,
)

BEGIN, END = "<!-- score begins -->", "<!-- score ends -->"
_NOT_SEEN = [Outcome.NOT_DETECTABLE, Outcome.NO_CHANNEL]


def report(frames: dict[str, pd.DataFrame], head: str) -> str:
    """Write everything, between marker comments; what went wrong, by seed, after them."""
    parts = [
        BEGIN,
        head,
        "Goals:\n",
        markdown(("what", "level", "figure", "goal", "", "n"), [g.row for g in goals(frames)]),
        "Faults by kind, all levels of instrumentation together (numbers of faults):\n",
        _kinds(frames["faults"]),
        "Filter, beside simple forecasts on the same readings:\n",
        _filters(frames),
        "Slow drifts, beside simple detectors on the same readings (these name no cause):\n",
        _baselines(frames),
        _false_words(frames["false"]),
        END,
        "Missed, wrong and false, with a seed to look at:\n",
        _examples(frames),
    ]
    return "\n".join(p for p in parts if p) + "\n"


def _kinds(faults: pd.DataFrame) -> str:
    head = (
        "fault", "n", "right", "cannot tell", "sign only", "wrong", "not detectable", "missed",
        "median delay", "found: full · usual · least",
    )  # fmt: skip
    levels = found_by_level(faults)
    rows = []
    for row in by_kind(faults, ["kind"]).to_dict("records"):
        kind = str(row["kind"])
        told = [str(row[o]) for o in (*FOUND, Outcome.WRONG)]
        unseen = str(sum(int(row[o]) for o in _NOT_SEEN))
        delay = _delay(float(row["delay_s"]), float(row["shifts"]), slow=MEANT[kind].slow)
        start = [kind.replace("_", " "), str(row["faults"])]
        rows.append([*start, *told, unseen, str(row[Outcome.MISSED]), delay, levels[kind]])
    return markdown(head, rows)


def _examples(frames: dict[str, pd.DataFrame]) -> str:
    """List what went wrong, each with a seed to look at; for the makers, not the README."""
    faults = pd.concat([frames["faults"], frames["drifts"]], ignore_index=True)
    lines = [
        f"{r['kind']}, {r['level']}: {r['outcome']} {r['first']} ×{r['n']}, e.g. seed {r['seed']}"
        for r in examples(faults).to_dict("records")
    ]
    events = frames["events"]
    unseen = events[events["delay_s"].isna()] if len(events) else events
    lines += [
        f"{r['what']}, {r['level']}: no alarm, seed {r['seed']}, gun {r['gun']}, {r['time']}"
        for r in unseen.to_dict("records")
    ]
    return "\n".join(lines) + "\n"


def _delay(seconds: float, shifts: float, *, slow: bool) -> str:
    if seconds != seconds:  # noqa: PLR0124 - NaN
        return "–"
    if slow and seconds > 4 * 3600:
        return f"shift {shifts:.0f}"
    return f"{seconds / 60:.0f} min" if seconds >= 120 else f"{seconds:.1f} s"


def _filters(frames: dict[str, pd.DataFrame]) -> str:
    rows = [
        [
            str(r["method"]),
            str(r["runs"]),
            f"{r['foreseen']:.0%}",
            shown(100 * r["error"]) + " %",
            shown(100 * r["unused"]) + " %",
            str(r["late"]),
        ]
        for r in filters(frames["runs"], frames["taken"]).to_dict("records")
    ]
    head = ("method", "runs", "foreseen 24 h ahead", "error at half life", "unused life at alert",
            "late or never")  # fmt: skip
    return markdown(head, rows)


def _baselines(frames: dict[str, pd.DataFrame]) -> str:
    table = baselines(frames["alarmed"]).to_dict("records")
    own = own_drifts(frames)
    rows = [
        [
            str(r["method"]),
            str(r["drifts"]),
            f"{r['found']:.0%}",
            shown(r["shifts"]),
            shown(r["false per month"], ".2f"),
        ]
        for r in ([own] if own else []) + table
    ]
    head = ("method", "drifts", "found", "median shift of it", "false per station-month")
    return markdown(head, rows)


def _false_words(false: pd.DataFrame) -> str:
    if false.empty:
        return "Nothing was told falsely.\n"
    counts = false.groupby("kind").agg(n=("seed", "size"), seed=("seed", "first"))
    words = ", ".join(
        f"{k} {r['n']} (e.g. seed {r['seed']})" for k, r in counts.to_dict("index").items()
    )
    return f"Told falsely: {words}.\n"


def to_json(frames: dict[str, pd.DataFrame], facts: dict[str, Any]) -> str:
    """Write goals, aggregates and every row, NaN as null."""
    tables = {
        "kinds": by_kind(frames["faults"]),
        "false_rates": false_rates(frames["spans"], frames["false"]),
        "filters": filters(frames["runs"], frames["taken"]),
        "baselines": baselines(frames["alarmed"]),
        **frames,
    }
    data: dict[str, Any] = {
        **facts,
        "goals": [
            {"name": g.name, "level": g.level, "figure": g.figure, "goal": g.goal, "met": g.met,
             "n": g.n}
            for g in goals(frames)
        ],
    }  # fmt: skip
    data |= {name: json.loads(t.to_json(orient="records")) for name, t in tables.items()}
    return json.dumps(data, indent=1, ensure_ascii=False)

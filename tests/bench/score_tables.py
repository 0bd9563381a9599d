"""The scoreboard: results gathered as data frames, aggregated, and held to the goals."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any

import numpy as np
import pandas as pd

from bench.score_baselines import Alarmed, score_baselines
from bench.score_events import Event, air_events, false_words, free_months, range_events
from bench.score_filter import Run, Taken, score_life
from bench.score_match import MEANT, Outcome, Scored, score_faults
from bench.score_shop import LEVELS
from bench.score_walk import Walked

OWN = "Steadybead"
NAMED = [Outcome.RIGHT, Outcome.CANNOT_TELL, Outcome.WRONG]
FOUND = [Outcome.RIGHT, Outcome.CANNOT_TELL, Outcome.SIGN]
JUDGED = [*FOUND, Outcome.WRONG, Outcome.NOT_DETECTABLE, Outcome.NO_CHANNEL, Outcome.MISSED]


@dataclass(slots=True)
class Results:
    """All rows of all spans; the readings themselves are forgotten."""

    spans: list[dict[str, Any]] = field(default_factory=list)
    faults: list[Scored] = field(default_factory=list)
    drifts: list[Scored] = field(default_factory=list)
    false: list[dict[str, Any]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    taken: list[Taken] = field(default_factory=list)
    alarmed: list[Alarmed] = field(default_factory=list)

    def add(self, walked: Walked) -> None:
        """Judge a span and keep what came of it."""
        span = walked.span
        row = {"kind": span.kind, "level": span.level, "seed": span.seed, "late": walked.late}
        if span.kind == "filter":
            runs, taken = score_life(walked)
            self.runs += runs
            self.taken += taken
            days = (walked.end - walked.blocks[0].time) / 86_400e6
            self.spans.append(row | {"months": days / 28.0, "free": 0.0, "reached": bool(runs)})
            return
        self.spans.append(
            row | {"months": span.months, "free": free_months(walked), "reached": None}
        )
        (self.drifts if span.kind == "drift" else self.faults).extend(score_faults(walked))
        self.false += [
            {"level": span.level, "seed": span.seed, "kind": t.kind, "time": t.time}
            for t in false_words(walked)
        ]
        self.events += [*air_events(walked), *range_events(walked)]
        if span.kind in ("clean", "slow", "drift") and span.days > 14:
            self.alarmed += score_baselines(walked)

    def join(self, other: "Results") -> None:
        """Take over what came of other spans."""
        for part in fields(self):
            getattr(self, part.name).extend(getattr(other, part.name))

    def frames(self) -> dict[str, pd.DataFrame]:
        """Give every kind of row as a data frame."""
        frames = {
            "faults": _frame(Scored, self.faults),
            "drifts": _frame(Scored, self.drifts),
            "events": _frame(Event, self.events),
            "runs": _frame(Run, self.runs),
            "taken": _frame(Taken, self.taken),
            "alarmed": _frame(Alarmed, self.alarmed),
        }
        frames["spans"] = pd.DataFrame(self.spans)
        frames["false"] = pd.DataFrame(self.false, columns=["level", "seed", "kind", "time"])
        return frames


def _frame(kind: type[Any], rows: Sequence[Any]) -> pd.DataFrame:
    return pd.DataFrame([asdict(r) for r in rows], columns=[f.name for f in fields(kind)])


def by_kind(faults: pd.DataFrame, keys: Sequence[str] = ("kind", "level")) -> pd.DataFrame:
    """Give, for each kind of fault (and level), how many ended how, and the median delay."""
    if faults.empty:
        return pd.DataFrame()
    judged = faults[faults["outcome"] != Outcome.IDLE]
    counts = pd.crosstab([judged[k] for k in keys], judged["outcome"])
    counts = counts.reindex(columns=JUDGED, fill_value=0)
    found = judged[judged["outcome"].isin(FOUND)]
    delays = found.groupby(list(keys))[["delay_s", "shifts"]].median()
    table = counts.join(delays)
    table.insert(0, "faults", counts.sum(axis=1))
    return table.reset_index()


def found_by_level(faults: pd.DataFrame) -> dict[str, str]:
    """Give, for each kind, found of all at the three levels, as `3/3 · 2/4 · –`."""
    judged = faults[faults["outcome"] != Outcome.IDLE]
    told = judged.assign(hit=judged["outcome"].isin(FOUND))
    table = told.groupby(["kind", "level"])["hit"].agg(["sum", "size"])
    words: dict[tuple[str, str], str] = {}
    for row in table.reset_index().to_dict("records"):
        words[str(row["kind"]), str(row["level"])] = f"{row['sum']}/{row['size']}"
    kinds = sorted({kind for kind, _ in words})
    return {k: " · ".join(words.get((k, lev), "–") for lev in LEVELS) for k in kinds}


def examples(faults: pd.DataFrame) -> pd.DataFrame:
    """Give what was missed or named wrongly: how often, as what, and a seed to look at."""
    bad = faults[faults["outcome"].isin([Outcome.WRONG, Outcome.MISSED])]
    if bad.empty:
        return pd.DataFrame()
    grouped = bad.groupby(["kind", "level", "outcome", "first"])["seed"]
    return grouped.agg(n="size", seed="first").reset_index()


def false_rates(spans: pd.DataFrame, false: pd.DataFrame) -> pd.DataFrame:
    """Give false findings per fault-free station-month by level, all levels as the last row."""
    free = spans.groupby("level")["free"].sum().rename("months")
    count = false.groupby("level")["kind"].count().rename("false")
    table = pd.concat([free, count], axis=1).fillna(0.0)
    table.loc["all"] = table.sum()
    table["rate"] = table["false"] / table["months"].where(table["months"] > 0)
    return table.reset_index(names="level")


def baselines(alarmed: pd.DataFrame) -> pd.DataFrame:
    """Give, for each simple detector, what it found of drifts and how often it cried wolf."""
    if alarmed.empty:
        return pd.DataFrame()
    tried = alarmed[alarmed["found"].notna()].astype({"found": bool})
    grouped = tried.groupby("method", sort=False)
    table = pd.DataFrame({"drifts": grouped.size(), "found": grouped["found"].mean()})
    table["shifts"] = tried[tried["found"]].groupby("method")["shifts"].median()
    sums = alarmed.groupby("method", sort=False)[["false", "months"]].sum()
    table["false per month"] = sums["false"] / sums["months"]
    return table.reset_index(names="method")


def own_drifts(frames: dict[str, pd.DataFrame]) -> dict[str, Any]:
    """Give the diagnosis's own figures on the faults that the simple detectors were tried on."""
    both = pd.concat([frames["faults"], frames["drifts"]], ignore_index=True)
    tried = frames["alarmed"]
    if both.empty or tried.empty:
        return {}
    keys = tried[tried["found"].notna()][["seed", "level", "kind"]].drop_duplicates()
    mine = both.sort_values("fault").merge(keys, on=["seed", "level", "kind"])
    mine = mine.drop_duplicates(["seed", "level", "kind"])
    found = mine["outcome"].isin(FOUND)
    drift_kinds = {m for meant in MEANT.values() for m in meant.right if meant.slow}
    false = frames["false"][frames["false"]["kind"].isin([*drift_kinds, "drift_cannot_tell"])]
    months = frames["spans"]["free"].sum()
    return {
        "method": OWN,
        "drifts": len(mine),
        "found": float(found.mean()),
        "shifts": float(mine[found]["shifts"].median()),
        "false per month": len(false) / months if months else float("nan"),
    }


def filters(runs: pd.DataFrame, taken: pd.DataFrame) -> pd.DataFrame:
    """Give, for each method on the filter, the same figures as for the diagnosis."""
    if runs.empty:
        return pd.DataFrame()
    grouped = runs.groupby("method", sort=False)
    table = pd.DataFrame(
        {
            "runs": grouped.size(),
            "foreseen": grouped["foreseen"].mean(),
            "unused": (runs["alert_h"] / runs["life_h"]).groupby(runs["method"]).median(),
            "late": (~(runs["alert_h"] > 0)).groupby(runs["method"]).sum(),
        }
    )
    half = taken[taken["share"] == 0.5]
    error = (half["middle_h"] - half["true_h"]).abs() / half["true_h"]
    table["error"] = error.groupby(half["method"]).median()
    return table.reset_index(names="method")


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a table."""
    lines = [f"| {' | '.join(head)} |", "| " + " | ".join("---" for _ in head) + " |"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)]) + "\n"


def shown(value: float, form: str = ".0f") -> str:
    """Write a figure, a dash where there is none."""
    return "–" if value is None or not np.isfinite(value) else format(value, form)

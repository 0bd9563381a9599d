"""The goals, each with its figure from the data frames and whether it is met."""

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from bench.score_filter import AHEAD_H
from bench.score_match import Outcome
from bench.score_tables import FOUND, NAMED, OWN, false_rates, shown

LONG_H = 48.0  # a filter that lives shorter cannot be foreseen three shifts ahead


@dataclass(frozen=True, slots=True)
class Goal:
    """One figure with its goal; `met` None where there is no goal or nothing to judge."""

    name: str
    level: str
    figure: str
    goal: str
    met: bool | None
    n: int

    @property
    def row(self) -> list[str]:
        """Give it as cells of a table."""
        met = {None: "", True: "met", False: "**not met**"}[self.met]
        return [self.name, self.level, self.figure, self.goal, met, str(self.n)]


def goals(frames: dict[str, pd.DataFrame]) -> list[Goal]:
    """Hold the figures to the goals."""
    return [
        *_false_goals(frames),
        *_filter_goals(frames),
        *_drift_goals(frames["drifts"]),
        *_cause_goals(frames),
        *_event_goals(frames["events"], frames["false"]),
        *_blind_goals(frames["faults"]),
    ]


def _false_goals(frames: dict[str, pd.DataFrame]) -> Iterator[Goal]:
    for row in false_rates(frames["spans"], frames["false"]).to_dict("records"):
        rate = float(row["rate"])
        yield Goal(
            f"false findings per station-month, in {row['months']:.1f} fault-free months",
            str(row["level"]), f"{rate:.2f}", "≤ 0.1", rate <= 0.1, int(row["false"]),
        )  # fmt: skip


def _filter_goals(frames: dict[str, pd.DataFrame]) -> Iterator[Goal]:
    runs, taken = frames["runs"], frames["taken"]
    if runs.empty:
        return
    own = runs[runs["method"] == OWN]
    n, level = len(own), "with pressure drop"
    yield from _ahead_goals(own[own["life_h"] >= LONG_H], level)
    mine = taken[taken["method"] == OWN].copy()
    half = mine[mine["share"] == 0.5]
    error = float(((half["middle_h"] - half["true_h"]).abs() / half["true_h"]).median())
    yield Goal("filter: median error of the remaining hours at half life", level,
               f"{error:.1%}", "≤ 20 %", error <= 0.2, len(half))  # fmt: skip
    mine["in"] = (mine["low_h"] <= mine["true_h"]) & (mine["true_h"] <= mine["high_h"])
    cover = float(mine["in"].mean())
    yield Goal("filter: 80 % intervals that cover, at 30, 50, 70, 85 % of life", level,
               f"{cover:.0%}", "75–85 %", 0.75 <= cover <= 0.85, len(mine))  # fmt: skip
    width = ((mine["high_h"] - mine["low_h"]) / mine["true_h"]).groupby(mine["share"]).median()
    widths = ", ".join(f"{w:.2f}" for w in width)
    yield Goal("filter: their median width over the hours left, by share", level, widths, "",
               None, len(mine))  # fmt: skip
    unused = float((own["alert_h"] / own["life_h"]).median())
    yield Goal("filter: median unused life at the alert", level, f"{unused:.0%}", "≤ 25 %",
               unused <= 0.25, n)  # fmt: skip
    reached = (own["reached_h"] / own["life_h"]).median()
    yield Goal("filter: “limit reached” told so much of the life too early (median)", level,
               shown(100 * float(reached), ".1f") + " %", "", None, n)  # fmt: skip
    late = int((~(own["alert_h"] > 0)).sum())
    yield Goal("filter: told later than the limit, or never", level, str(late), "0", late == 0, n)


def _ahead_goals(own: pd.DataFrame, level: str) -> Iterator[Goal]:
    if own.empty:
        return
    ahead, early = float(own["foreseen"].mean()), float((own["alert_h"] >= AHEAD_H).mean())
    yield Goal("filter: limit foreseen ≥ 3 shifts (24 h of air) ahead", level,
               f"{ahead:.0%}", "≥ 95 %", ahead >= 0.95, len(own))  # fmt: skip
    yield Goal("filter: alert itself ≥ 24 h of air ahead", level, f"{early:.0%}", "", None,
               len(own))  # fmt: skip


def _drift_goals(drifts: pd.DataFrame) -> Iterator[Goal]:
    names = {
        "full": "thermocouple off by 3 °C, with reference checks: found within 5 shifts",
        "full, no checks": "thermocouple off by 10 °C, power and flow: found within 5 shifts",
    }
    if drifts.empty:
        return
    for level, rows in drifts.groupby("level"):
        sizes = rows["size"].abs().median()
        if level == "full" and sizes > 3.0:
            continue
        found = rows["outcome"].isin([Outcome.RIGHT, Outcome.CANNOT_TELL]) & (rows["shifts"] <= 5)
        share = float((found | (rows["outcome"] == Outcome.NOT_DETECTABLE)).mean())
        yield Goal(names[str(level)], str(level), f"{share:.0%}", "≥ 90 %", share >= 0.9, len(rows))


def _cause_goals(frames: dict[str, pd.DataFrame]) -> Iterator[Goal]:
    faults = pd.concat([frames["faults"], frames["drifts"]], ignore_index=True)
    named = faults[faults["outcome"].isin(NAMED)] if len(faults) else faults
    if named.empty:
        return
    honest = float((named["outcome"] != Outcome.WRONG).mean())
    right = float((named["outcome"] == Outcome.RIGHT).mean())
    n = len(named)
    yield Goal("right cause, or an honest “cannot tell”, where one is named", "all",
               f"{honest:.0%}", "≥ 95 %", honest >= 0.95, n)  # fmt: skip
    yield Goal("right cause, where one is named", "all", f"{right:.0%}", "≥ 80 %", right >= 0.8, n)


def _event_goals(events: pd.DataFrame, false: pd.DataFrame) -> Iterator[Goal]:
    if not events.empty:
        air = events[events["what"] == "air lost"]
        rest = events[events["what"] != "air lost"]
        in_time = float((air["delay_s"] <= 2.0).mean()) if len(air) else float("nan")
        yield Goal("air lost while hot: told within 2 s of the first reading that shows it",
                   "all", shown(100 * in_time) + " %", "100 %",
                   in_time == 1.0 if len(air) else None, len(air))  # fmt: skip
        seen = float(rest["delay_s"].notna().mean())
        yield Goal("heat or flow beyond window and deadband: told", "all",
                   shown(100 * seen) + " %", "100 %",
                   seen == 1.0 if len(rest) else None, len(rest))  # fmt: skip
    wrong = int(false["kind"].str.startswith(("heat_", "flow_l", "flow_h")).sum())
    wrong -= int((false["kind"] == "flow_loss").sum())
    yield Goal("heat or flow out of range: told falsely", "all", str(max(wrong, 0)), "0",
               wrong <= 0, wrong)  # fmt: skip


def _blind_goals(faults: pd.DataFrame) -> Iterator[Goal]:
    if faults.empty:
        return
    sudden = faults[(faults["kind"] == "filter_blockage") & (faults["outcome"] != Outcome.IDLE)]
    for blind, rows in sudden.groupby(sudden["level"] == "least"):
        share = float(rows["outcome"].isin(FOUND).mean())
        name = "sudden blockage of the filter, scored apart: found"
        level = "without pressure drop" if blind else "with pressure drop"
        yield Goal(name, level, f"{share:.0%}", "", None, len(rows))

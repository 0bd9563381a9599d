"""Restrictions that no pressure drop shows: found by the pressure before the valves, or not?

`python tests/bench/score_margin.py [--spans N] [--seed S]`

Stations with all channels but the drop over the filter; from the 21st day a blockage of random
size stays. A span counts as detectable where the flow that was lost, by the meters' own pressure,
is at least what the station says it can see. Found: within five shifts. Seeds from 5900.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from bench.score_shop import DAY_S, H_S, PROCEDURE, Span, slow
from bench.score_walk import Walk
from simulated_shop import MONDAY
from steadybead_domain.plant import Channel
from steadybead_domain.times import DAY
from steadybead_simulator.faults import KINDS, Fault

FIRST_SEED = 5900
ONSET_DAY, DAYS = 21, 35
DROP = "air/filter"
KIND = "flow_margin_falling"


def blind(seed: int) -> tuple[Span, float]:
    """Make a span without the drop channel, and the size of its blockage in Pa at 100 L/min."""
    size = float(np.exp(np.random.default_rng(seed).uniform(np.log(50.0), np.log(800.0))))
    start = ONSET_DAY * DAY_S + 7.5 * H_S
    fault = Fault("blind", KINDS["filter_blockage"], "bay-1", None, None, start, 1e9, size)
    span = slow("full", seed)
    plant, station = span.plant.stations[0], span.station
    return (
        replace(
            span,
            days=DAYS,
            scenario=replace(span.scenario, faults=(fault,)),
            plant=replace(span.plant, stations=(replace(plant, channels=_left(plant.channels)),)),
            station=replace(station, channels=_left(station.channels), procedure=PROCEDURE.id),
        ),
        size,
    )


def _left(channels: tuple[Channel, ...]) -> tuple[Channel, ...]:
    return tuple(c for c in channels if c.id.channel != DROP)


def row(seed: int) -> tuple[float, float, float, int | None, int]:
    """Give size, loss of flow in %, smallest seen in %, shifts to the first word, false words."""
    span, size = blind(seed)
    walk = Walk(span)
    told = [t for t in walk.run().told if t.kind == KIND and t.active]
    margin = walk.diagnosis.margin
    points = [value for _, value in margin.trend]
    before = len(points) - sum(1 for d in range(ONSET_DAY, DAYS) if d % 7 < 5)
    lost = -0.5 * float(np.median(points[before:]) - np.median(points[:before]))
    onset = MONDAY + ONSET_DAY * DAY
    first = next((t.time for t in told if t.time > onset), None)
    shifts = None if first is None else sum(
        1 for d in range(ONSET_DAY, (first - MONDAY) // DAY + 1) if d % 7 < 5
    )  # fmt: skip
    return size, lost, margin.smallest_pct or 0.0, shifts, sum(t.time <= onset for t in told)


def main() -> int:
    """Walk the spans and print one line each and the sum."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spans", type=int, default=16)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    words = parser.parse_args()
    rows = []
    for seed in range(words.seed, words.seed + words.spans):
        rows.append(row(seed))
        size, lost, smallest, shifts, false = rows[-1]
        sys.stdout.write(
            f"{seed}: blockage {size:.0f} Pa at 100 L/min, flow {lost:.2f} % lost,"
            f" seen from {smallest:.2f} %, told in shift {shifts or '–'}, false {false}\n"
        )
    can = [r for r in rows if r[1] >= r[2]]
    found = sum(r[3] is not None and r[3] <= 5 for r in can)
    months = len(rows) * ONSET_DAY / 28.0
    sys.stdout.write(
        f"smallest detectable loss of flow: median {np.median([r[2] for r in rows]):.2f} %;"
        f" {found} of {len(can)} such found within five shifts;"
        f" {sum(r[4] for r in rows)} told in {months:.1f} months before the blockage\n"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""What a simulated station-month costs: 18 channels at 1 Hz, eight working hours a day."""

import argparse
import json
import resource
import sys
import time
from typing import Any

from steadybead_domain.times import DAY, SECOND, parse_rfc3339
from steadybead_simulator.history import history
from steadybead_simulator.messages import messages
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.shop import Shop

MONDAY = parse_rfc3339("2026-03-02T00:00:00Z")
SEED = 7
WARM_DAYS = 2


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; `short` takes three days instead of a month, its figures say nothing."""
    days = 3 if short else 30
    figures = [*month(days), *stream(days)]
    return [line | {"goal": None, "met": None} for line in figures] if short else figures


def month(days: int) -> list[dict[str, Any]]:
    """Walk a station's month as converted columns; memory is compared after two days."""
    plant, readings = plant_of(1, level="full"), 0
    begun, early_kb = time.process_time(), 0
    for i, block in enumerate(history(plant, Scenario(), SEED, MONDAY, MONDAY + days * DAY)):
        readings += sum(len(c) for c in block.columns.values())
        if i == WARM_DAYS * 288:
            early_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds = time.process_time() - begun
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - early_kb) / 1024
    return [
        figure("simulator: station-month of 18 channels at 1 Hz, columns", seconds, "s", 20.0),
        figure("simulator: its readings", readings / 1e6, "million"),
        figure("simulator: memory grown after the first two days", grown_mb, "MB", 20.0),
    ]


def stream(days: int) -> list[dict[str, Any]]:
    """Make the same month as MQTT messages, without a broker."""
    shop = Shop(plant_of(1, level="full"), Scenario(), SEED, MONDAY)
    begun, count = time.process_time(), 0
    for step in messages(shop, days * DAY / SECOND):
        count += len(step.messages)
    seconds = time.process_time() - begun
    return [
        figure("simulator: the same month as messages", seconds, "s"),
        figure("simulator: messages a second of one core", count / seconds, "1/s"),
    ]


def figure(name: str, value: float, unit: str, goal: float | None = None) -> dict[str, Any]:
    """Make one line of the report; `goal` is the largest value that is meant."""
    met = None if goal is None else value <= goal
    return {"name": name, "value": value, "unit": unit, "goal": goal, "met": met}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    lines = main(parser.parse_args().short)
    for line in lines:
        print(json.dumps(line))  # noqa: T201
    sys.exit(any(line["met"] is False for line in lines))

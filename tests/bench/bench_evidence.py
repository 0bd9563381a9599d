"""What a verdict and an evidence file cost, for a weld of twenty minutes and eight channels."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from evidence_shop import SealedShop, noisy, sealed_shop
from steadybead_api.evidence.check import check
from steadybead_api.verdict import weld_verdict
from steadybead_collector.evidence.roots import day_start
from steadybead_domain.evidence.merkle import Tree
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Batch
from steadybead_domain.times import DAY

FURTHER = (
    ("gun-a/terminal", Quantity.TERMINAL_TEMPERATURE, 30.0),
    ("gun-a/set", Quantity.SET_TEMPERATURE, 320.0),
    ("gun-a/power", Quantity.HEATER_POWER, 900.0),
    ("air/pressure", Quantity.OUTLET_PRESSURE, 7000.0),
    ("air/intake", Quantity.INTAKE_TEMPERATURE, 20.0),
)
LEAVES_OF_A_DAY = 400 * 144


def main(short: bool) -> list[dict[str, Any]]:
    """Run all."""
    times = 1 if short else 5
    with (
        tempfile.TemporaryDirectory(prefix="bench-evidence-") as folder,
        sealed_shop(Path(folder)) as shop,
    ):
        _furnish(shop)
        shop.keeper(Path(folder) / "outside").look()
        data = shop.evidence()
        verdict_s = _fastest(lambda: weld_verdict(shop.services, shop.weld), times)
        made_s = _fastest(shop.evidence, times)
        checked_s = _fastest(lambda: check(data), times)
        leaves = _leaves(shop, 1_000 if short else LEAVES_OF_A_DAY)
        tree_s = _fastest(lambda: Tree(leaves), times)
    return [
        _figure("verdict of a 20-minute weld", 1000 * verdict_s, "ms", None),
        _figure("evidence file of a 20-minute weld, 8 channels at 5 Hz", made_s, "s", 2.0),
        _figure("its size", len(data) / 2**20, "MiB", None),
        _figure("verify such a file", checked_s, "s", None),
        _figure("tree over a day's leaves of 400 channels", tree_s, "s", None),
    ]


def _furnish(shop: SealedShop) -> None:
    """Give the station eight channels."""
    plant = shop.services.plant()
    first = plant.stations[0]
    new = [
        Channel(ChannelId("north", "bay-1", name), quantity, quantity.facts.unit)
        for name, quantity, _ in FURTHER
    ]
    columns = {
        c.id: noisy(level, level / 100, 30, seed)
        for seed, (c, (_, _, level)) in enumerate(zip(new, FURTHER, strict=True))
    }
    shop.readings.append(Batch(shop.clock(), columns))
    shop.readings.seal(shop.clock())
    station = Station(first.id, (*first.channels, *new), first.name, first.procedure)
    whole = Plant(plant.site, plant.timezone, (station, *plant.stations[1:]), name=plant.name)
    object.__setattr__(shop.services, "plant", lambda: whole)


def _leaves(shop: SealedShop, count: int) -> list[bytes]:
    start = day_start("2026-05-04")
    real = [leaf.sha256 for leaf in shop.readings.leaves(start, start + DAY)]
    rng = np.random.default_rng(1)
    return [*real, *(rng.bytes(32) for _ in range(count - len(real)))]


def _fastest(work: Callable[[], object], times: int) -> float:
    found = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return min(found)


def _figure(name: str, value: float, unit: str, goal: float | None) -> dict[str, Any]:
    met = None if goal is None else value <= goal
    return {"name": name, "value": value, "unit": unit, "goal": goal, "met": met}

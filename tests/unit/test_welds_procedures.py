"""Rules of procedures, the start set, and hot time without a record."""

from dataclasses import replace

import numpy as np
import pytest

from steadybead_collector.records.procedure_file import read_procedures
from steadybead_domain.procedure_rules import (
    FIELDS,
    changed_fields,
    procedure_problems,
    with_origins,
)
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.readings import Buckets
from steadybead_domain.times import MINUTE
from steadybead_domain.unrecorded import hot_stretches, unrecorded

START_SET = read_procedures()
PP = next(p for p in START_SET if p.id == "pp-speed-nozzle")


def test_the_start_set_may_be_kept_and_says_where_each_value_comes_from() -> None:
    assert len(START_SET) == 13
    for item in START_SET:
        assert procedure_problems(item) == []
        said = {name for name in FIELDS if getattr(item, name)}
        assert said <= set(item.provenance), item.id
        assert all(item.provenance.values())


@pytest.mark.parametrize(
    ("material", "process", "low", "high"),
    # DVS 2207-3 Supplement 1, draft of March 2013: gas temperatures that were found in it
    [
        ("PE-HD", "642", 300, 320),
        ("PP-H, PP-B, PP-R", "642", 305, 315),
        ("PVC-U", "642", 330, 350),
        ("PVC-C", "642", 340, 360),
        ("PVDF", "642", 350, 370),
        ("PE-HD", "641", 300, 340),
        ("PP-H, PP-B, PP-R", "641", 300, 340),
    ],
)
def test_found_temperatures_stand_as_published(
    material: str, process: str, low: float, high: float
) -> None:
    item = next(p for p in START_SET if (p.material, p.process) == (material, process))
    assert item.nozzle_temperature == Window(low, high, "Cel")
    assert item.provenance["nozzle_temperature"] == "found"


@pytest.mark.parametrize(
    ("changes", "at"),
    [
        ({"title": " "}, "title"),
        ({"process": "641a"}, "process"),
        ({"nozzle_temperature": Window(340.0, 300.0, "Cel")}, "nozzle_temperature"),
        ({"nozzle_temperature": Window(None, None, "Cel")}, "nozzle_temperature"),
        ({"nozzle_temperature": Window(300.0, 3400.0, "Cel")}, "nozzle_temperature"),
        ({"air_flow": Window(45.0, 55.0, "m3/h")}, "air_flow"),
        ({"warm_up_s": float("nan")}, "warm_up_s"),
        ({"revision": 2, "reason": ""}, "reason"),
        ({"note": "x" * 401}, "note"),
    ],
)
def test_a_bad_procedure_names_the_field(changes: dict[str, object], at: str) -> None:
    assert at in [name for name, _ in procedure_problems(replace(PP, **changes))]  # type: ignore[arg-type]


def test_what_a_revision_changes_is_set_by_the_shop_and_the_rest_keeps_its_origin() -> None:
    window = Window(305.0, 335.0, "Cel")
    second = replace(PP, revision=2, reason="trials", nozzle_temperature=window, provenance={})
    assert changed_fields(second, PP) == ("nozzle_temperature",)
    marked = with_origins(second, PP)
    assert marked.provenance["nozzle_temperature"] == "set by the shop"
    assert marked.provenance["travel_speed"] == PP.provenance["travel_speed"]


def test_a_procedure_of_the_shop_is_marked_throughout() -> None:
    own = with_origins(replace(PP, id="own", provenance={}), None)
    assert set(own.provenance.values()) == {"set by the shop"}


def buckets(means: list[float | None]) -> Buckets:
    start = np.arange(len(means), dtype=np.int64) * MINUTE
    value = np.array([0.0 if m is None else m for m in means])
    n = np.array([0 if m is None else 60 for m in means], np.int64)
    return Buckets(start, start + MINUTE, n, value, value, value, np.zeros(len(means), np.uint8))


def test_hot_minutes_join_and_a_minute_without_readings_parts_them() -> None:
    hot = hot_stretches(buckets([20, 300, 310, None, 305, 40]), 270.0)
    assert hot == [(MINUTE, 3 * MINUTE), (4 * MINUTE, 5 * MINUTE)]


def test_a_gun_in_its_stand_is_not_at_work() -> None:
    nozzle = buckets([300, 300, 300])
    assert hot_stretches(nozzle, 270.0, buckets([1, 0, 1])) == [(MINUTE, 2 * MINUTE)]


def test_records_cover_hot_time_whatever_their_order() -> None:
    hot = [(0, 30 * MINUTE)]
    told = [(20 * MINUTE, 25 * MINUTE), (5 * MINUTE, 12 * MINUTE), (11 * MINUTE, 13 * MINUTE)]
    assert unrecorded(hot, told) == [
        (0, 5 * MINUTE),
        (13 * MINUTE, 20 * MINUTE),
        (25 * MINUTE, 30 * MINUTE),
    ]
    assert unrecorded(hot, [(0, 29 * MINUTE)]) == []  # a minute is no work


def test_every_procedure_field_with_an_origin_exists() -> None:
    assert set(FIELDS) <= set(Procedure.__dataclass_fields__)

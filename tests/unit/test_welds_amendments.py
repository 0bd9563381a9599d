"""Weld details, amendments and sign-offs, without a store."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records_samples import BAY_1, T0, late, start, stop
from steadybead_domain.times import SECOND
from steadybead_domain.weld_amendments import (
    Amendment,
    Signature,
    amended,
    amendment_problems,
    news,
    standing,
)
from steadybead_domain.weld_details import (
    CHOICES,
    WeldDetails,
    detail_problems,
    details_from_json,
    expired,
)
from steadybead_domain.welds import Weld, fold

NOW = T0 + 3600 * SECOND
WELD = Weld("w1", BAY_1, "a", T0, T0 + 60 * SECOND, "pp-speed-nozzle", 1, "4711", "12", "Anna")

texts = st.text(max_size=30)
numbers = st.none() | st.floats(1, 1000)
changes = st.fixed_dictionaries(
    {},
    optional={
        "job": st.none() | texts,
        "seam": st.none() | texts,
        "drawing": texts,
        "seam_length_mm": numbers,
        "remarks": texts,
        "start": st.integers(T0, NOW),
        "visual": st.sampled_from(CHOICES["visual"]),
    },
)


@given(st.lists(changes, max_size=6))
def test_the_last_word_stands_and_the_first_one_can_be_read_back(
    told: list[dict[str, object]],
) -> None:
    weld, kept = WELD, list[Amendment]()
    for fresh in (news(weld, said) for said in told):
        before = {name: standing(weld, name) for name in fresh}
        kept.append(Amendment("w1", len(kept) + 1, NOW, "Ana", "http", "why", fresh, before))
        weld = amended(WELD, kept)
        assert {name: standing(weld, name) for name in fresh} == fresh
    assert weld.amendments == len(kept)
    undone = weld
    for item in reversed(kept):
        undone = amended(undone, [replace(item, changes=item.before)])
    assert replace(undone, amendments=0) == WELD


def test_what_stands_already_is_no_news() -> None:
    assert news(WELD, {"job": "4711", "drawing": "", "beads": None}) == {}
    assert news(WELD, {"job": "4712", "drawing": "T-1"}) == {"job": "4712", "drawing": "T-1"}


def test_a_correction_needs_a_reason_and_a_first_entry_none() -> None:
    assert amendment_problems(WELD, {"seam_length_mm": 480.0}, "", NOW) == []
    [(at, _)] = amendment_problems(WELD, {"job": "4712"}, " ", NOW)
    assert at == "reason"
    assert amendment_problems(WELD, {"job": "4712"}, "typed wrongly", NOW) == []


@pytest.mark.parametrize(
    ("fields", "at"),
    [
        ({"stop": T0 - SECOND}, "stop"),
        ({"start": NOW + 3600 * SECOND}, "start"),
        ({"stop": None}, "stop"),
        ({"beads": 1.5}, "beads"),
        ({"seam_length_mm": float("inf")}, "seam_length_mm"),
        ({"visual": "splendid"}, "visual"),
        ({"qualification_expires": "2026-02-30"}, "qualification_expires"),
        ({"remarks": "x" * 1001}, "remarks"),
        ({"gun": "b"}, "gun"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(fields: dict[str, object], at: str) -> None:
    assert at in [name for name, _ in amendment_problems(WELD, fields, "why", NOW)]


def test_a_running_record_is_stopped_not_amended() -> None:
    running = replace(WELD, stop=None)
    [(at, remedy)] = amendment_problems(running, {"stop": NOW}, "why", NOW)
    assert at == "stop"
    assert "still runs" in remedy


def test_details_keep_what_was_said_and_nothing_else() -> None:
    details = WeldDetails(drawing="T-1", beads=2)
    assert details.to_json() == {"drawing": "T-1", "beads": 2}
    assert details_from_json({"drawing": "T-1", "beads": 2, "colour": "grey"}) == details
    assert detail_problems({"beads": True}) == [("beads", "write a number from 1 to 1000 beads")]


def test_a_qualification_runs_out_after_its_last_day() -> None:
    details = WeldDetails(qualification_expires="2026-05-04")
    assert not expired(details, "2026-05-04")
    assert expired(details, "2026-05-05")
    assert not expired(WeldDetails(), "2026-05-05")


def test_a_signature_covers_until_the_next_amendment() -> None:
    signed = Signature("w1", "welder", "Anna", "welder", NOW, 2)
    assert signed.covers(replace(WELD, amendments=2))
    assert not signed.covers(replace(WELD, amendments=3))


def test_a_late_entry_leaves_the_running_record_alone() -> None:
    welds = fold([start("w1", 0), late("w2", -600), stop("w1", 50)])
    assert welds["w2"].ended_by == "late entry"
    assert welds["w2"].stop == welds["w2"].start + 60 * SECOND
    assert (welds["w1"].ended_by, welds["w1"].stop) == ("stop", T0 + 50 * SECOND)

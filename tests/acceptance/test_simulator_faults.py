"""Every kind of fault shows in the stream, and stands in the truth."""

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from simulated_shop import FULL, LOOP, MONDAY, Shop, fault, with_faults
from steadybead_domain.readings import Quality
from steadybead_domain.times import SECOND
from steadybead_simulator.faults import KINDS
from steadybead_simulator.messages import messages
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.shop import Shop as Walk

START, END = 900.0, 1500.0
NOZZLE, FLOW, FILTER = "gun-a/nozzle", "gun-a/flow", "air/filter"


@pytest.fixture(scope="module")
def sound() -> Shop:
    return Shop()


def shop(kind: str, *, size: float = 1.0, over_s: float = 0.0, place: str | None = None) -> Shop:
    harm = fault(kind, START, END, size=size, over_s=over_s, place=place)
    return Shop(with_faults([harm]))


def step(sound: Shop, bad: Shop, channel: str, start: float = START + 200.0) -> float:
    """Give what the fault changes in a channel's mean over its last minutes."""
    return bad.mean(channel, start, END) - sound.mean(channel, start, END)


def share(sound: Shop, bad: Shop, channel: str) -> float:
    return bad.mean(channel, START + 200.0, END) / sound.mean(channel, START + 200.0, END) - 1.0


Check = Callable[[Shop, Shop], bool]
CASES: dict[str, tuple[float, str | None, Check]] = {
    "filter_loading": (3000.0, None, lambda s, b: share(s, b, FILTER) > 0.2),
    # 400 Pa at 100 L/min; the two guns together take 111.
    "filter_blockage": (400.0, None, lambda s, b: 330 < step(s, b, FILTER) < 470),
    "filter_missing": (1.0, None, lambda _, b: abs(b.mean(FILTER, START + 10, END)) < 4.0),
    "filter_torn": (60.0, None, lambda s, b: -0.65 < share(s, b, FILTER) < -0.55),
    "blower_wear": (20.0, None, lambda s, b: share(s, b, "air/outlet") < -0.12),
    "hose_leak": (40.0, None, lambda s, b: share(s, b, "air/outlet") < -0.04),
    "supply_sag": (25.0, None, lambda s, b: -27 < step(s, b, "air/supply") < -23),
    "hose_off": (1.0, "a", lambda _, b: b.mean(FLOW, START + 10, END) < 1.0),
    "air_lost": (50.0, "a", lambda s, b: -0.55 < share(s, b, FLOW) < -0.3),
    "nozzle_clogged": (60.0, "a", lambda s, b: share(s, b, FLOW) < -0.1),
    "air_stopped_before_cool": (1.0, "a", lambda _, b: b.mean(FLOW, START + 10, END) < 1.0),
    "element_ageing": (20.0, "a", lambda s, b: step(s, b, "gun-a/output") > 6.0),
    "element_break": (1.0, "a", lambda _, b: b.mean("gun-a/power", START + 10, END) < 2.0),
    "thermocouple_offset": (12.0, NOZZLE, lambda s, b: 11 < step(s, b, NOZZLE) < 13),
    "thermocouple_gain": (4.0, NOZZLE, lambda s, b: 0.037 < share(s, b, NOZZLE) < 0.043),
    "tip_moved": (8.0, NOZZLE, lambda s, b: -30 < step(s, b, NOZZLE) < -5),
    "flow_meter_drift": (15.0, FLOW, lambda s, b: 0.14 < share(s, b, FLOW) < 0.16),
    "flow_meter_zero": (5.0, FLOW, lambda s, b: 4.7 < step(s, b, FLOW) < 5.3),
    "pressure_zero": (60.0, FILTER, lambda s, b: 58 < step(s, b, FILTER) < 62),
    "tube_off": (1.0, FILTER, lambda _, b: abs(b.mean(FILTER, START + 10, END)) < 6.0),
    "stuck": (1.0, NOZZLE, lambda _, b: np.ptp(b.between(NOZZLE, START + 2, END).raw) == 0.0),
    "swapped_leads": (1.0, NOZZLE, lambda _, b: b.between(NOZZLE, START + 9, END).raw.max() < 0),
    "wrong_type": (1.0, NOZZLE, lambda s, b: 80 < step(s, b, NOZZLE) < 140),
}


@pytest.mark.parametrize("kind", CASES)
def test_fault_shows_and_goes(kind: str, sound: Shop) -> None:
    size, place, shows = CASES[kind]
    bad = shop(kind, size=size, place=place)
    assert shows(sound, bad)
    before = bad.between(NOZZLE, 0.0, START - 2.0)
    assert np.array_equal(before.raw, sound.between(NOZZLE, 0.0, START - 2.0).raw)
    rows = [r for r in bad.truth if r.what == "fault" and r.cause == "scenario"]
    assert [r.kind for r in rows] == [kind]
    assert rows[0].start == MONDAY + round(START * SECOND)
    assert rows[0].end == MONDAY + round(END * SECOND)
    assert rows[0].size == (size if KINDS[kind].dimension else None)
    assert (rows[0].gun or rows[0].channel) == place


def test_open_circuit_is_driven_upscale() -> None:
    reading = shop("open_circuit", place=NOZZLE).between(NOZZLE, START, END)
    assert np.all(reading.quality == Quality.BAD)
    assert np.all(reading.raw > 54.0)


def test_broken_loop_stands_above_21_ma() -> None:
    reading = shop("open_circuit", place=FLOW).between(FLOW, START, END)
    assert np.all(reading.raw > 21.0)


def test_intermittent_contact_opens_part_of_the_time() -> None:
    reading = shop("intermittent", size=20.0, place=NOZZLE).between(NOZZLE, START, END)
    assert 0.1 < float((reading.quality == Quality.BAD).mean()) < 0.3


def test_silence_and_silence_of_one_channel() -> None:
    silent = shop("silence")
    assert len(silent.between(NOZZLE, START + 1, END - 1)) == 0
    assert len(silent.between(NOZZLE, START - 20, START)) == 20
    partly = shop("channel_silence", place=FLOW)
    assert len(partly.between(FLOW, START + 1, END - 1)) == 0
    assert len(partly.between(NOZZLE, START, END)) == 600


def test_link_outage_keeps_and_sends_later(sound: Shop) -> None:
    late = shop("link_outage")
    assert np.array_equal(late.columns[NOZZLE].time, sound.columns[NOZZLE].time)
    assert np.array_equal(late.columns[NOZZLE].raw, sound.columns[NOZZLE].raw)
    delay = np.concatenate([w.sent - w.clock for w in late.wire]) / SECOND
    assert delay.max() > END - START - 5.0


def test_message_loss(sound: Shop) -> None:
    lossy = shop("message_loss", size=30.0)
    kept = len(lossy.between(NOZZLE, START, END)) / len(sound.between(NOZZLE, START, END))
    assert 0.6 < kept < 0.8


def test_clock_offset_moves_the_stamps() -> None:
    ahead = shop("clock_offset", size=90.0)
    delay = np.concatenate([w.sent - w.clock for w in ahead.wire]) / SECOND
    assert -90.5 < delay.min() < -89.0


def test_duplicate_device_speaks_with_other_values() -> None:
    walk = Walk(FULL, with_faults([fault("duplicate_device", 100.0, 130.0)]), 5, MONDAY)
    packs = [m.payload for s in messages(walk, 300.0) for m in s.messages if b'"bt"' in m.payload]
    stamps = [p.split(b",")[0] for p in packs]
    assert len(stamps) - len(set(stamps)) == 30
    assert len(set(packs)) == len(packs)


def test_filter_tapped_out_drops_at_once_and_stays() -> None:
    loaded = dataclasses.replace(LOOP.setups[0], filter_drop_pa=200.0)
    base = Scenario(**{**_members(LOOP), "setups": (loaded,)})
    full = Shop(base)
    tapped = Shop(with_faults([fault("filter_tapped_out", START, END, size=80.0)], base))
    assert share(full, tapped, FILTER) < -0.5
    assert tapped.mean(FILTER, END + 50, END + 200) < 0.6 * full.mean(FILTER, END + 50, END + 200)


def _members(scenario: Scenario) -> dict[str, object]:
    return {n: getattr(scenario, n) for n in Scenario.__dataclass_fields__}


TOLD_ELSEWHERE = {
    "open_circuit", "intermittent", "silence", "channel_silence", "link_outage", "message_loss",
    "clock_offset", "duplicate_device", "filter_tapped_out",
}  # fmt: skip


def test_an_element_burns_out_without_air_and_is_replaced() -> None:
    off = fault("hose_off", START, END, place="a")
    bad = Shop(with_faults([off]), 7200.0)
    (burnt,) = [r for r in bad.truth if r.cause == "wear" and r.kind == "element_break"]
    assert START < (burnt.start - MONDAY) / SECOND < END
    assert bad.mean("gun-a/power", END + 300, END + 900) < 2.0
    (replaced,) = [r for r in bad.truth if r.kind == "element_replaced"]
    assert (replaced.start - MONDAY) / SECOND == 3600.0
    assert bad.mean("gun-a/power", 4500.0, 5400.0) > 200.0


def test_no_kind_is_without_a_test() -> None:
    assert set(CASES) | TOLD_ELSEWHERE == set(KINDS)


def test_a_ramp_grows(sound: Shop) -> None:
    bad = shop("thermocouple_offset", size=20.0, over_s=400.0, place=NOZZLE)
    halfway = bad.mean(NOZZLE, START + 190, START + 210) - sound.mean(
        NOZZLE, START + 190, START + 210
    )
    assert halfway == pytest.approx(10.0, abs=0.3)
    (row,) = [r for r in bad.truth if r.what == "fault"]
    assert row.course == "ramp"
    assert row.full == MONDAY + round((START + 400.0) * SECOND)


def test_drift_of_a_regulated_sensor_stays_hidden_in_the_reading() -> None:
    logged = Scenario(
        **{**_members(LOOP), "setups": (dataclasses.replace(LOOP.setups[0], control="logged"),)}
    )
    calm = Shop(logged)
    bad = Shop(
        with_faults([fault("thermocouple_offset", START, END, size=15.0, place=NOZZLE)], logged)
    )
    assert abs(step(calm, bad, NOZZLE, START + 400.0)) < 1.5
    assert step(calm, bad, "gun-a/power", START + 400.0) < -8.0

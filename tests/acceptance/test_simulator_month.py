"""A simulated month: people, calendar, wear and truth, told apart from faults."""

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest

from simulated_shop import MONDAY, Shop
from steadybead_domain.readings import Quality
from steadybead_domain.times import DAY, HOUR, SECOND
from steadybead_domain.welds import WeldEventKind, fold
from steadybead_simulator.scenario import Scenario, Setup, Welder

pytestmark = pytest.mark.slow
CARELESS = Welder(
    "w-1", forgets_start=0.1, forgets_stop=0.2, stops_late=0.3, forgets_heat=0.3,
    stops_air_early=0.3, records_change=0.5,
)  # fmt: skip
MONTH = Scenario(
    welders=(CARELESS, Welder("w-2", pace=1.3)), setups=(Setup("*", filter_drop_pa=200.0),)
)


@pytest.fixture(scope="module")
def month() -> Shop:
    return Shop(MONTH, 28 * 86_400.0)


def test_work_is_on_working_days_and_in_working_hours(month: Shop) -> None:
    time = month.columns["gun-a/power"].time[month.columns["gun-a/power"].value > 100.0]
    days = {(int(t) - MONDAY) // DAY for t in time[::600]}
    assert all(d % 7 < 5 for d in days)
    assert len(days) >= 18
    hour = (time - MONDAY) % DAY / HOUR
    assert hour.min() > 6.9
    assert hour.max() < 16.2


def test_stamps_ascend_and_nights_are_silent(month: Shop) -> None:
    for columns in month.columns.values():
        assert np.all(np.diff(columns.time) > 0)
    gaps = np.diff(month.columns["gun-a/flow"].time) / HOUR
    assert (gaps > 10.0).sum() >= 18


def test_sound_shop_has_only_good_readings(month: Shop) -> None:
    for channel, columns in month.columns.items():
        assert np.all(columns.quality == Quality.GOOD), channel
        assert np.all(np.isfinite(columns.value)), channel


def test_filter_fills_over_weeks_and_is_changed_late(month: Shop) -> None:
    drops = [r for r in month.truth if r.kind == "filter_drop"]
    size = np.array([r.size for r in drops], float)
    assert size.max() > 300.0
    assert np.diff(size).min() < -50.0
    care = [r for r in month.truth if r.kind in {"filter_changed", "filter_tapped_out"}]
    assert care
    assert all(r.recorded is not None and r.cause == "people" for r in care)
    assert any(r.kind == "filter_limit_passed" for r in month.truth)


def test_filter_growth_is_steady_between_changes(month: Shop) -> None:
    """Weeks, not hours: a working day adds less than a fifth (common practice, no source)."""
    size = [r.size or 0.0 for r in month.truth if r.kind == "filter_drop"]
    rise = np.diff(np.array(size))
    per_hour = rise[rise > 0] / np.array(size)[:-1][rise > 0]
    assert 0.0 < np.median(per_hour) < 0.025


def test_records_are_forgotten_and_stopped_late(month: Shop) -> None:
    welds = [r for r in month.truth if r.what == "weld" and r.gun == "a"]
    assert len(welds) > 200
    never = [w for w in welds if w.told_start is None]
    assert 0.03 < len(never) / len(welds) < 0.2
    open_ones = [w for w in welds if w.told_start is not None and w.told_stop is None]
    assert 0.08 < len(open_ones) / len(welds) < 0.35
    late = [
        w for w in welds
        if w.told_stop is not None and w.end is not None and w.told_stop - w.end > 55 * SECOND
    ]  # fmt: skip
    assert 0.1 < len(late) / len(welds) < 0.4


def test_events_fold_into_the_welds_that_were_told(month: Shop) -> None:
    told = fold(month.events)
    rows = {r.id: r for r in month.truth if r.what == "weld"}
    assert set(told) <= set(rows)
    assert len(told) == sum(r.told_start is not None for r in rows.values())
    for weld in told.values():
        assert weld.start == rows[weld.id].told_start
    starts = sum(e.kind is WeldEventKind.START for e in month.events)
    assert starts == len(told)


def test_switches_are_forgotten(month: Shop) -> None:
    kinds = {r.kind for r in month.truth if r.what == "act"}
    assert kinds >= {"heat_forgotten", "air_stopped_early", "valve_set"}


def test_a_rod_is_laid_with_air_and_heat(month: Shop) -> None:
    for row in [r for r in month.truth if r.what == "weld" and r.gun == "a"][:60]:
        nozzle = month.columns["gun-a/nozzle"]
        inside = (nozzle.time >= row.start) & (nozzle.time < (row.end or row.start))
        assert np.median(nozzle.value[inside]) > 250.0
        assert np.median(month.columns["gun-a/flow"].value[inside]) > 35.0


def test_ambient_check_before_the_first_air(month: Shop) -> None:
    """In the morning gun, terminal and room are in equilibrium: the emf is near zero."""
    first = month.between("gun-a/nozzle", 0.0, 86_400.0).raw[:60]
    assert np.abs(first).max() < 0.05
    drop = month.between("air/filter", 0.0, 86_400.0).value[:60]
    assert np.abs(drop.mean()) < 3.0


def test_a_new_thermocouple_reads_high_after_its_first_hours() -> None:
    """The published ordering: some K after a shift near 350 °C; here at 320 °C."""
    old = Setup("*", set_c=320.0)
    fresh = Shop(
        dataclasses.replace(MONTH, setups=(dataclasses.replace(old, new_thermocouple=True),)),
        DAY / SECOND,
    )
    aged = Shop(dataclasses.replace(MONTH, setups=(old,)), DAY / SECOND)
    a, b = (s.between("gun-a/nozzle", 0, 86_400).value for s in (fresh, aged))
    hot = b > 290.0
    excess = (a - b)[hot]
    assert 0.1 < excess[:300].mean() < 1.0
    assert 2.0 < excess[-600:].mean() < 4.2


def test_the_calendar_is_local() -> None:
    """Europe/Lisbon: in summer the shift begins an hour earlier in UTC."""
    july = round(datetime(2026, 7, 6, tzinfo=UTC).timestamp()) * SECOND
    shop = Shop(MONTH, 86_400.0, start=july)
    power = shop.columns["gun-a/power"]
    first = (power.time[power.value > 100.0][0] - july) / HOUR
    assert 5.9 < first < 6.4

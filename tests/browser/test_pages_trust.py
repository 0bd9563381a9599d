"""Sensors, reference checks at the gun and calibrations at the bench, in a real browser."""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ANA, ShopServer, now_us
from measured_shop import NOZZLE_A, measure
from steadybead_domain.calibration.model import Calibration
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId
from steadybead_domain.people import Actor, Role

pytestmark = pytest.mark.chromium
SENSOR = f"/sensors/{NOZZLE_A}"
CHECK = "/reference-check?station=north/bay-1"
NOZZLE_B = ChannelId("north", "bay-1", "gun-b/nozzle")
FLOW_B = ChannelId("north", "bay-1", "gun-b/flow")
PAGES = (
    "/sensors",
    SENSOR,
    "/sensors/north/bay-1/gun-b/flow",
    "/reference-check",
    CHECK,
    "/calibration?instrument=tc-7",
    "/calibrations/cal-1",
)
SIZES = {"phone": PHONE, "wide": WIDE}


@pytest.fixture(autouse=True)
def measured(server: ShopServer) -> None:
    measure(server.shop)


def checks(server: ShopServer, channel: ChannelId) -> list[ReferenceCheck]:
    return server.shop.records.instruments.checks(channel)


def calibrations(server: ShopServer) -> list[Calibration]:
    return server.shop.records.instruments.calibrations()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", sorted(SIZES))
@pytest.mark.parametrize("path", PAGES)
def test_pages_are_accessible_and_fit_the_screen(
    path: str, size: str, scheme: str, opener: Opener
) -> None:
    options: dict[str, Any] = {"viewport": SIZES[size], "color_scheme": scheme}
    page = opener(path, **options)
    if page.locator("#pair").count():
        expect(page.locator("#pair")).to_have_attribute("data-loaded", "1")
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= SIZES[size]["width"]
    assert violations(page) == []


def enter_check(page: Page, probe: str, flow: str) -> None:
    page.get_by_label("Probe, °C").fill(probe)
    page.get_by_label("Flow, L/min", exact=True).fill(flow)
    page.get_by_role("button", name="Keep the check").tap()


def test_a_check_is_entered_by_touch_and_the_second_time_takes_two_numbers(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/reference-check", viewport=PHONE, has_touch=True)
    page.get_by_role("link", name="Bay 1").tap()
    page.locator('[name="gun"][value="b"]').check(force=True)
    page.locator('[name="nozzle"]').fill("round 5 mm")
    page.get_by_label("Serial of the probe").fill("NP-3")
    page.get_by_label("Serial of the flow meter").fill("FM-9")
    enter_check(page, "322,5", "49.0")
    outcome = page.locator('[data-part="outcome"]')
    expect(outcome).to_contain_text("Kept: 322.5 °C")
    expect(outcome).to_contain_text("Kept: 49.0 L/min")
    (nozzle,) = checks(server, NOZZLE_B)
    assert (nozzle.reference, nozzle.nozzle, nozzle.flow_l_min) == (322.5, "round 5 mm", 49.0)
    assert (nozzle.reference_instrument, nozzle.expanded_uncertainty) == ("NP-3", 2.0)
    assert nozzle.shown == pytest.approx(318.0, abs=7.0)
    assert nozzle.author == "demo visitor"
    (flow,) = checks(server, FLOW_B)
    assert (flow.reference, flow.reference_instrument) == (49.0, "FM-9")
    again = opener(CHECK + "&gun=b", viewport=PHONE, has_touch=True)
    again.evaluate("(kept) => localStorage.setItem('steadybead-check', kept)", stored(page))
    again.reload()
    expect(again.locator('[name="nozzle"]')).to_have_value("round 5 mm")
    expect(again.get_by_label("Probe, °C")).to_be_focused()
    expect(again.locator('[data-part="remembered"]')).to_have_text("NP-3, FM-9")
    button = again.get_by_role("button", name="Keep the check")
    box = button.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= PHONE["height"]  # in sight without scrolling


def stored(page: Page) -> str:
    return str(page.evaluate("localStorage.getItem('steadybead-check')"))


def test_a_refused_check_says_what_to_do_at_its_field_and_keeps_the_entry(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("422")
    page = opener(CHECK, viewport=PHONE, has_touch=True)
    before = len(checks(server, NOZZLE_A))
    page.locator('[name="nozzle"]').fill("speed 5 mm")
    page.get_by_label("Serial of the probe").fill("NP-3")
    enter_check(page, "3220", "49")
    expect(page.locator("#problem-reference")).to_contain_text("3220 °C cannot be")
    expect(page.get_by_label("Probe, °C")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Probe, °C")).to_be_focused()
    expect(page.get_by_label("Probe, °C")).to_have_value("3220")
    expect(page.locator('[data-part="outcome"]')).to_contain_text("Nothing was kept")
    enter_check(page, "32o", "49")
    expect(page.locator("#problem-reference")).to_contain_text("is no number")
    assert len(checks(server, NOZZLE_A)) == before


def test_a_check_whose_answer_was_lost_is_one_check(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("net::ERR_")
    page = opener(CHECK + "&gun=b", viewport=PHONE, has_touch=True)
    page.locator('[name="nozzle"]').fill("speed 5 mm")
    page.get_by_label("Serial of the probe").fill("NP-3")

    def answer_lost(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route("**/api/v1/reference-checks", answer_lost)
    enter_check(page, "322", "49")
    expect(page.locator('[data-part="outcome"]')).to_contain_text("kept on this device")
    expect(page.locator("#outbox")).to_contain_text("Waiting to be sent: 1")
    assert len(checks(server, NOZZLE_B)) == 1, "the server kept it, only its answer was lost"
    page.unroute("**/api/v1/reference-checks")
    expect(page.locator("#outbox")).to_be_hidden(timeout=60_000)
    assert len(checks(server, NOZZLE_B)) == 1


def fill_points(page: Page, rows: list[tuple[str, str, str]]) -> None:
    for i, values in enumerate(rows):
        row = page.locator('[data-part="points"] tr').nth(i)
        for column, value in zip(("reference", "as_found", "as_left"), values, strict=True):
            row.locator(f'[data-column="{column}"]').fill(value)


def test_a_calibration_is_entered_at_the_bench_on_a_phone(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/calibration?instrument=tc-7", viewport=PHONE, has_touch=True)
    fill_points(page, [("100", "100,8", ""), ("300", "302.1", "300.2"), ("500", "501", "")])
    expect(page.locator('[data-part="kind"]')).to_contain_text("3 points")
    page.get_by_label("U of the calibration").fill("0.8")
    page.get_by_label("Serial of the reference instrument").fill("block 12")
    page.get_by_label("Certificate").fill("2026-0417")
    page.get_by_role("button", name="Keep the calibration").tap()
    outcome = page.locator('[data-part="outcome"]')
    expect(outcome).to_contain_text("Calibration kept.")
    kept = max(calibrations(server), key=lambda c: c.entered)
    found = [(p.reference, p.as_found, p.as_left) for p in kept.points]
    assert found == [(100.0, 100.8, None), (300.0, 302.1, 300.2), (500.0, 501.0, None)]
    assert (kept.kind.value, kept.expanded_uncertainty, kept.unit) == ("piecewise", 0.8, "Cel")
    assert abs(kept.performed - now_us()) < 120_000_000
    page.get_by_role("link", name="See what it puts in doubt").tap()
    expect(page.locator("h1")).to_contain_text("K-0007")
    expect(page.get_by_text("Found +2.1 °C off")).to_be_visible()


def test_points_out_of_order_are_refused_at_the_table_and_nothing_is_stored(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("422")
    page = opener("/calibration?instrument=tc-7", viewport=PHONE, has_touch=True)
    fill_points(page, [("300", "302", ""), ("100", "101", "")])
    page.get_by_label("U of the calibration").fill("0.8")
    page.locator('[name="performed"]').fill("2099-01-01T10:00")
    page.get_by_role("button", name="Keep the calibration").tap()
    expect(page.locator("#problem-points")).to_contain_text("order the points by rising value")
    expect(page.locator("#problem-performed")).to_contain_text("future")
    expect(page.locator("#problem-reference_instrument")).to_contain_text("serial number")
    expect(page.locator('[data-part="outcome"]')).to_contain_text("Nothing was kept")
    assert [c.id for c in calibrations(server)] == ["cal-1"]


def test_one_point_asks_for_its_range(opener: Opener) -> None:
    page = opener("/calibration?instrument=tc-7", viewport=PHONE)
    expect(page.get_by_label("Offset may be used from")).to_be_hidden()
    fill_points(page, [("300", "302", "")])
    expect(page.get_by_label("Offset may be used from")).to_be_visible()


def test_the_sensor_s_page_tells_history_budget_and_both_lines(opener: Opener) -> None:
    page = opener(SENSOR)
    expect(page.get_by_text("reference instrument of the check")).to_be_visible()
    expect(page.locator(".budget tfoot")).to_contain_text("Expanded uncertainty U")
    expect(page.locator("#pair-said")).to_contain_text("The calibrations move these readings by")
    history = page.locator("section", has_text="History").locator("tbody tr")
    expect(history).to_have_count(4)
    expect(page.get_by_text("due for calibration soon")).to_be_visible()


def test_an_instrument_is_entered_fitted_and_taken_off(opener: Opener, server: ShopServer) -> None:
    page = opener("/sensors/north/bay-1/gun-b/flow", viewport=PHONE)
    page.get_by_label("Serial number").fill("FM-1")
    page.get_by_label("What it is").fill("variable-area meter")
    page.get_by_label("Largest error").fill("1.5")
    page.locator('#fit [name="instrument"]').select_option("")
    page.get_by_role("button", name="Enter that it is fitted").click()
    expect(page.get_by_text("FM-1 is fitted.")).to_be_visible()
    (found,) = server.shop.records.instruments.fittings(FLOW_B)
    assert found.fitting.end is None
    page.get_by_role("button", name="It was taken off now").click()
    expect(page.locator("#fit")).to_be_visible()
    (found,) = server.shop.records.instruments.fittings(FLOW_B)
    assert (found.revision, found.fitting.end is None) == (2, False)


def test_a_trace_is_switched_to_recalibrated_and_back(opener: Opener, server: ShopServer) -> None:
    server.shop.add_weld("w-1003", now_us() - 8 * 60_000_000, now_us() - 2 * 60_000_000)
    page = opener("/welds/w-1003")
    trace = page.locator("#trace")
    expect(trace).to_have_attribute("data-loaded", "")
    mean = page.locator('[data-part="mean"]').first
    expect(mean).to_contain_text("±")
    expect(mean).to_contain_text("corrected by reference checks")
    highest = page.locator('[data-part="summary"] tbody tr').first.locator("td").nth(2)
    expect(highest).to_have_text("328")
    page.get_by_role("button", name="As recalibrated").click()
    expect(highest).to_have_text("323")  # 328 shown: 5 K less 2/198 · 23 K, by hand 323.2
    page.get_by_role("button", name="As recorded").click()
    expect(highest).to_have_text("328")


def test_a_welder_may_check_and_not_calibrate(opener: Opener, server: ShopServer) -> None:
    by = Actor("Welder 4", Role.WELDER)
    token = server.shop.records.access.create_token(by, ANA, now_us(), "test")
    page = opener("/signin?next=/calibration")
    page.get_by_label("Token").fill(token)
    page.get_by_role("button", name="Sign in with the token").click()
    expect(page.get_by_text("Welder 4")).to_be_visible()
    expect(page.get_by_role("button", name="Keep the calibration")).to_have_count(0)
    page.goto(server.url + CHECK)
    expect(page.get_by_role("button", name="Keep the check")).to_be_visible()

"""Maintenance: what to do in order, the filters ahead, one tap for a change, quiet lines."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ShopServer, now_us, open_shop_server
from maintenance_samples import drift_finding, filter_finding
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.people import Actor, Role
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import HOUR, MINUTE, SECOND

pytestmark = pytest.mark.chromium
SIZES = {"phone": PHONE, "wide": WIDE}
BAY_1, BAY_2 = StationId("north", "bay-1"), StationId("north", "bay-2")
HALL = StationId("north", "duct-hall")


def steady(start: int, end: int, value: float) -> Columns:
    """Make a reading every ten seconds."""
    times = np.arange(start, end, 10 * SECOND, dtype=np.int64)
    values = np.full(len(times), value)
    zeros = np.zeros(len(times), np.uint8)
    return Columns(times, values, values, zeros, zeros, np.ones(len(times), np.uint32))


def furnish(server: ShopServer) -> None:
    """Let the diagnosis have said something of three stations; measure a drop at bay 1."""
    now = now_us()
    weeks_ago = now - 200 * HOUR
    days: list[Any] = [
        filter_finding(
            at_s=HOUR * 20 * n / SECOND,
            drop_pa=60.0 * 1.1**n,
            hours=120.0 - 10.0 * n,
            station=BAY_1,
            start=weeks_ago,
        )
        for n in range(10)
    ]
    days += [
        drift_finding(station=BAY_2, start=now - HOUR),
        filter_finding("filter_due", hours=6.0, drop_pa=215.0, station=HALL, start=now - HOUR),
    ]
    shop = server.shop
    shop.records.add_findings(days)
    drop = ChannelId("north", "bay-1", "blower/filter-drop")
    shop.readings.append(Batch(now, {drop: steady(now - 25 * MINUTE, now - MINUTE, 141.0)}))


@pytest.fixture
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        furnish(running)
        yield running


def card(page: Page, place: str) -> Locator:
    return page.locator(f'.filter-card[data-station="north/{place}"]')


def test_what_to_do_stands_in_order_with_its_reason(opener: Opener) -> None:
    page = opener("/maintenance")
    cards = page.locator(".finding-card")
    expect(cards).to_have_count(2)
    expect(cards.nth(0)).to_contain_text("Now")
    expect(cards.nth(0)).to_contain_text("Duct hall")
    expect(cards.nth(1)).to_contain_text("The thermocouple reads 5.1 °C low".replace("The", "the"))
    expect(cards.nth(1)).to_contain_text("Hold the needle probe 5 mm inside the nozzle")
    expect(cards.nth(1)).to_contain_text("likely")
    evidence = cards.nth(1).locator("dl")
    expect(evidence).to_be_hidden()
    cards.nth(1).get_by_text("What this rests on").click()
    expect(evidence).to_contain_text("against thermocouple drift")
    expect(evidence).to_contain_text("nothing")
    expect(evidence).to_contain_text("\N{MINUS SIGN}5.1 °C")


def test_filters_show_hours_left_with_their_interval(opener: Opener) -> None:
    page = opener("/maintenance")
    bay_1 = card(page, "bay-1")
    expect(bay_1.locator(".hours-left")).to_have_text("30")
    expect(bay_1).to_contain_text("4 times in 5 between 21 – 42 h")
    expect(bay_1).to_contain_text("141 Pa, 10")
    expect(bay_1).to_contain_text("none on record")
    box = bay_1.locator(".forecast-fan").bounding_box()
    assert box is not None
    assert box["width"] > 20
    expect(bay_1.locator(".forecast-past")).to_have_count(1)
    expect(card(page, "yard")).to_contain_text("Nothing was ever heard of the pressure drop")
    expect(card(page, "yard").locator("svg")).to_have_count(0)


def test_one_tap_records_a_change_and_shows_the_drop_before(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/maintenance", viewport=PHONE)
    card(page, "bay-1").get_by_role("button", name="Filter changed").click()
    outcome = card(page, "bay-1").locator('[data-part="outcome"]')
    expect(outcome).to_contain_text("Recorded: filter changed. Drop before: 141 Pa, 10")
    row = page.locator("#done-rows tr")
    expect(row).to_have_count(1)
    expect(row).to_contain_text("Bay 1")
    expect(row).to_contain_text("141 Pa")
    expect(card(page, "bay-1").locator(".forecast")).to_be_hidden()
    expect(page.locator(".finding-card:visible")).to_have_count(2)
    (kept,) = server.shop.records.filter_changes.all()
    assert (kept.station, kept.kind.value, kept.author) == (BAY_1, "changed", "demo visitor")
    page.reload()
    expect(page.locator("#done-rows tr")).to_have_count(1)
    expect(card(page, "bay-1")).to_contain_text("No forecast yet")
    expect(card(page, "bay-1").locator('[data-part="last-change"] time')).to_be_visible()


def test_what_was_done_is_no_longer_asked_for(opener: Opener) -> None:
    page = opener("/maintenance")
    card(page, "duct-hall").get_by_role("button", name="Filter changed").click()
    expect(page.locator(".finding-card:visible")).to_have_count(1)
    page.goto(page.url.replace("/maintenance", "/"))
    expect(page.locator('.tile[data-station="north/duct-hall"]')).to_be_visible()
    expect(page.locator('.tile[data-station="north/duct-hall"] .finding-lines')).to_have_count(0)


def test_a_lost_answer_is_not_two_changes(opener: Opener, server: ShopServer, watch: Watch) -> None:
    watch.expect("ERR_FAILED", "ERR_INTERNET_DISCONNECTED", "Failed to load")
    page = opener("/maintenance")
    answers: list[int] = []

    def lose(route: Any) -> None:
        if not answers:
            answers.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route("**/api/v1/filter-changes", lose)
    button = card(page, "bay-1").get_by_role("button", name="Filter changed")
    button.click()
    expect(card(page, "bay-1").locator('[data-part="outcome"]')).to_contain_text("Not sent")
    assert answers == [201]
    button.click()
    expect(page.locator("#done-rows tr")).to_have_count(1)
    assert len(server.shop.records.filter_changes.all()) == 1


def test_a_look_with_a_note_is_recorded_by_keyboard(opener: Opener, server: ShopServer) -> None:
    page = opener("/maintenance")
    own = card(page, "bay-2")
    own.get_by_text("Something else was done").focus()
    page.keyboard.press("Enter")
    own.get_by_label("Note").fill("looks <fine>")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(own.get_by_role("button", name="Only looked at")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#done-rows tr")).to_contain_text("inspected · looks <fine>")
    expect(own.locator('[data-part="outcome"]')).to_contain_text("The forecast goes on as it was.")
    assert [c.note for c in server.shop.records.filter_changes.all()] == ["looks <fine>"]


def test_a_welder_sees_it_all_and_may_not_record(opener: Opener, server: ShopServer) -> None:
    welder = Actor("Wim", Role.WELDER)
    secret = server.shop.records.access.create_token(welder, welder, now_us(), "test")
    page = opener("/signin?next=/maintenance")
    page.get_by_label("Token").fill(secret)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Maintenance", exact=True)).to_be_visible()
    expect(page.locator(".filter-card").first).to_be_visible()
    expect(page.get_by_role("button", name="Filter changed")).to_have_count(0)


def test_floor_and_station_carry_a_quiet_line_that_leads_here(opener: Opener) -> None:
    page = opener("/")
    line = page.locator('.tile[data-station="north/bay-2"] .finding-lines li')
    expect(line).to_have_text("Gun a: the thermocouple reads 5.1 °C low")
    assert line.get_attribute("data-urgent") is None
    urgent = page.locator('.tile[data-station="north/duct-hall"] .finding-lines li')
    assert urgent.get_attribute("data-urgent") is not None
    expect(page.locator('.tile[data-station="north/bay-1"] .finding-lines')).to_have_count(0)
    page = opener("/stations/north/bay-2")
    page.locator(".finding-lines a").click()
    expect(page.locator(".finding-card:target")).to_contain_text("thermocouple")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", sorted(SIZES))
@pytest.mark.parametrize("path", ["/maintenance", "/", "/stations/north/bay-2"])
def test_the_page_is_accessible_and_fits(path: str, size: str, scheme: str, opener: Opener) -> None:
    options: dict[str, Any] = {"viewport": SIZES[size], "color_scheme": scheme}
    page = opener(path, **options)
    for summary in page.locator("main summary").all():
        summary.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size]["width"]
    assert violations(page) == []

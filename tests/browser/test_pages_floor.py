"""The floor in a real browser: live values, lost connection and return, alarms."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from browser_watch import Opener, Watch, violations
from fakes_pages import PLANT, ShopServer, now_us
from steadybead_domain.alarms.model import Priority
from steadybead_domain.live import Fitness, GunState

pytestmark = pytest.mark.chromium
NETWORK = ("net::ERR_", "Failed to load resource")
LOST_MS = 20_000


def nozzle(page: Page) -> Locator:
    return page.locator('[data-station="north/bay-1"] [data-channel="gun-a/nozzle"]')


def test_stations_stand_in_plant_file_order_by_word_and_shape(opener: Opener) -> None:
    page = opener("/")
    expect(page.locator(".tile h3")).to_have_text([s.name for s in PLANT.stations])
    expect(page.locator("#sum")).to_have_text("2 of 5 stations fit to weld")
    words = ["Fit", "Not fit", "Not fit", "Fit", "No data"]
    expect(page.locator('[data-part="fitness-word"]')).to_have_text(words)
    shapes = page.locator('[data-part="fitness"] use')
    names = [shapes.nth(i).get_attribute("href") for i in range(5)]
    assert names == ["#fit-fit", "#fit-not-fit", "#fit-not-fit", "#fit-fit", "#fit-no-data"]


def test_a_live_value_reaches_the_page(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.guns["bay-1", "a"].temperature = 371.5
    row = nozzle(page)
    expect(row.locator('[data-part="value"]')).to_have_text(re.compile(r"37\d"))
    expect(row).to_have_attribute("data-place", "high")
    expect(row).to_have_attribute("data-abnormal", "")
    expect(row.locator('[data-part="side-word"]')).to_have_text("high")


def test_out_of_window_is_not_abnormal_while_warming(opener: Opener) -> None:
    page = opener("/")
    row = page.locator('[data-station="north/duct-hall"] [data-channel="gun-a/nozzle"]')
    expect(row).to_have_attribute("data-place", "low")
    expect(row).not_to_have_attribute("data-abnormal", "")


def test_a_change_of_state_is_counted_and_said(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    server.shop.guns["bay-1", "b"].state = GunState.COOLING
    server.shop.fitness["bay-1"] = (Fitness.NOT_FIT, ("gun a: 100 % output <b>",))
    expect(page.locator("#sum")).to_have_text("1 of 5 stations fit to weld")
    tile = page.locator('[data-station="north/bay-1"]')
    expect(tile.locator('[data-part="reasons"]')).to_have_text("gun a: 100 % output <b>")
    expect(tile.locator('[data-gun="b"] [data-part="state-word"]')).to_have_text("Cooling")


def test_a_lost_server_is_shown_and_its_return_too(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NETWORK)
    page = opener("/")
    expect(page.locator("#link")).to_have_text("Live")
    server.stop()
    expect(page.locator("#stale")).to_contain_text("Connection lost", timeout=LOST_MS)
    expect(page.locator("#link")).to_have_attribute("data-link", "lost")
    server.shop.guns["bay-1", "a"].temperature = 333.0
    server.start()
    expect(page.locator("#stale")).to_be_hidden(timeout=LOST_MS)
    expect(page.locator("#link")).to_have_text("Live")
    expect(nozzle(page).locator('[data-part="value"]')).to_have_text(re.compile(r"33[1-5]"))


def test_what_ended_during_a_loss_is_gone_afterwards(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NETWORK)
    page = opener("/")
    server.shop.raise_alarm("alarm-9", "bay-1", "air lost while hot", Priority.HIGH)
    expect(page.locator('[data-alarm="alarm-9"]')).to_be_visible()
    page.locator('[data-alarm="alarm-9"]').get_by_role("button").click()
    state = page.locator('[data-alarm="alarm-9"] [data-part="state"]')
    expect(state).to_have_text("acknowledged")
    server.stop()
    expect(page.locator("#stale")).to_be_visible(timeout=LOST_MS)
    server.shop.end_alarm("alarm-9")
    server.start()
    expect(page.locator('[data-alarm="alarm-9"]')).to_have_count(0, timeout=LOST_MS)
    expect(page.locator('[data-alarm="alarm-1"]')).to_be_visible()


def test_a_lost_broker_is_shown_and_its_return_too(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.sending = False
    server.shop.board.disconnected()
    expect(page.locator("#stale")).to_contain_text("The collector cannot be heard")
    expect(page.locator('[data-station="north/bay-1"] [data-part="fitness-word"]')).to_have_text(
        "No data"
    )
    server.shop.sending = True
    server.shop.board.connected(now_us())
    expect(page.locator("#stale")).to_be_hidden()
    expect(page.locator("#sum")).to_have_text("2 of 5 stations fit to weld")


def test_a_silent_collector_becomes_no_data(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.sending = False
    expect(page.locator("#sum")).to_have_text("0 of 5 stations fit to weld")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.sending = True
    expect(page.locator("#sum")).to_have_text("2 of 5 stations fit to weld")


def test_two_people_acknowledge_by_click_and_by_keyboard(
    opener: Opener, server: ShopServer
) -> None:
    server.shop.raise_alarm("alarm-2", "bay-1", "nozzle temperature high", Priority.MEDIUM)
    one, other = opener("/"), opener("/")
    expect(one.locator("[data-alarm]")).to_have_count(2)
    one.locator('[data-alarm="alarm-1"]').get_by_role("button", name="Acknowledge").click()
    for page in (one, other):
        card = page.locator('[data-alarm="alarm-1"]')
        expect(card.locator('[data-part="state"]')).to_have_text("acknowledged")
        expect(card.locator('[data-part="by"]')).to_have_text("by demo visitor")
        expect(card.get_by_role("button")).to_be_hidden()
    button = other.locator('[data-alarm="alarm-2"]').get_by_role("button")
    for _ in range(40):
        other.keyboard.press("Tab")
        if button.evaluate("(b) => b === document.activeElement"):
            break
    expect(button).to_be_focused()
    other.keyboard.press("Enter")
    expect(one.locator('[data-alarm="alarm-2"] [data-part="state"]')).to_have_text("acknowledged")
    found = server.shop.records.alarms.get("alarm-2")
    assert found is not None
    assert [act.actor for act in found.acts] == ["demo visitor"]


def test_urgent_alarms_come_first_and_an_ended_one_goes(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    server.shop.raise_alarm("low", "bay-1", "sensor noisy", Priority.LOW)
    server.shop.raise_alarm("high", "duct-hall", "air lost while hot", Priority.HIGH)
    expect(page.locator("[data-alarm]")).to_have_count(3)
    order = page.locator("[data-alarm]").evaluate_all("(all) => all.map((x) => x.dataset.alarm)")
    assert order == ["high", "alarm-1", "low"]
    page.locator('[data-alarm="low"]').get_by_role("button").click()
    expect(page.locator('[data-alarm="low"] [data-part="state"]')).to_have_text("acknowledged")
    server.shop.end_alarm("low")
    expect(page.locator("[data-alarm]")).to_have_count(2)


def test_a_value_outside_its_window_shows_while_the_alarm_still_waits(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/")
    tile = page.locator('.tile[data-station="north/bay-1"]')
    expect(tile.locator('[data-part="fitness-word"]')).to_have_text("Fit")
    server.shop.guns["bay-1", "b"].temperature = 352.0
    expect(tile.locator('[data-part="fitness-word"]')).to_have_text("Fit so far")
    expect(tile.locator('[data-part="reasons"]')).to_contain_text("is being watched")
    assert violations(page) == []
    page.reload()
    expect(tile.locator('[data-part="fitness-word"]')).to_have_text("Fit so far")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.guns["bay-1", "b"].temperature = 322.0
    expect(tile.locator('[data-part="fitness-word"]')).to_have_text("Fit")
    expect(tile.locator('[data-part="reasons"]')).to_be_hidden()

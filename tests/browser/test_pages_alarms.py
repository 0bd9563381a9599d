"""Alarms in a browser: the trace around the onset, putting away and taking back, two people."""

import re
from dataclasses import replace

import pytest
from playwright.sync_api import expect

from browser_watch import PHONE, Opener, Watch
from fakes_pages import ShopServer, fact, now_us
from steadybead_domain.alarms.model import Priority
from steadybead_domain.times import HOUR

pytestmark = pytest.mark.chromium


def test_one_alarm_tells_its_whole_story(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    page.locator("#alarms .what").first.click()
    expect(page).to_have_url(re.compile(r"/alarms/alarm-1$"))
    expect(page.locator("#onset")).to_have_attribute("data-loaded", "")
    flow, nozzle = page.locator(".onset-chart").all()
    assert flow.get_attribute("data-channel") == "north/bay-2/gun-a/flow"
    assert flow.get_attribute("data-low") == "45.0"
    for chart in (flow, nozzle):
        assert int(chart.get_attribute("data-readings") or 0) > 100
        expect(chart.locator("canvas")).to_be_visible()
    sheet = page.locator("#sheet")
    expect(sheet).to_contain_text("38.4 L/min against 45 L/min")
    expect(sheet).to_contain_text("stop welding; look at hose, nozzle and filter")
    expect(sheet).to_contain_text("air-path restriction")
    link = page.get_by_role("link", name="readings").first.get_attribute("href") or ""
    answer = page.request.get(server.url + link)
    assert answer.status == 200
    assert answer.json()["items"]


def test_shelving_wants_a_reason_and_can_be_taken_back(opener: Opener) -> None:
    page = opener("/alarms/alarm-1", viewport=PHONE)
    page.get_by_text("Shelve or take out of service, with a reason").click()
    page.get_by_role("button", name="4 h", exact=True).click()
    expect(page.locator("[data-part=state]")).to_have_text("unacknowledged")
    page.get_by_label("Reason").fill("valve is being changed")
    page.get_by_role("button", name="4 h", exact=True).click()
    expect(page.locator("[data-part=state]")).to_have_text("shelved")
    expect(page.locator(".happenings")).to_contain_text("valve is being changed")
    page.goto(page.url.replace("/alarms/alarm-1", "/alarms"))
    expect(page.locator("[data-away=alarm-1]")).to_contain_text("shelved, until")
    page.locator("[data-away=alarm-1] a").click()
    page.get_by_role("button", name="Unshelve").click()
    expect(page.locator("[data-part=state]")).to_have_text("unacknowledged")


def test_out_of_service_by_keyboard(opener: Opener) -> None:
    page = opener("/alarms/alarm-1")
    page.locator("#put-away summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("gun is at repair")
    button = page.get_by_role("button", name="Take out of service")
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("[data-part=state]")).to_have_text("out of service")
    page.get_by_role("button", name="Return to service").focus()
    page.keyboard.press("Enter")
    expect(page.locator("[data-part=state]")).to_have_text("unacknowledged")


def test_two_people_at_once(opener: Opener, server: ShopServer, watch: Watch) -> None:
    one, other = opener("/alarms/alarm-1"), opener("/alarms/alarm-1")
    one.get_by_role("button", name="Acknowledge").click()
    expect(one.locator("[data-part=state]")).to_have_text("acknowledged")
    other.get_by_role("button", name="Acknowledge").click()
    expect(other.locator("[data-part=state]")).to_have_text("acknowledged")
    acts = server.shop.records.alarms.get("alarm-1")
    assert acts is not None
    assert len(acts.acts) == 1
    server.shop.end_alarm("alarm-1")
    watch.expect("409")
    other.get_by_text("Shelve or take out of service, with a reason").click()
    other.get_by_label("Reason").fill("too late")
    other.get_by_role("button", name="1 h", exact=True).click()
    expect(other.locator("[data-part=outcome]")).to_contain_text("the alarm is over")


def test_the_list_follows(opener: Opener, server: ShopServer) -> None:
    page = opener("/alarms")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.raise_alarm("alarm-2", "bay-1", "too cold", Priority.MEDIUM)
    expect(page.locator("[data-alarm=alarm-2]")).to_contain_text("Bay 1")
    expect(page.locator("[data-alarm=alarm-2] .what")).to_have_attribute("href", "/alarms/alarm-2")


def test_a_returned_alarm_leaves_its_tile_calm(opener: Opener, server: ShopServer) -> None:
    """The duct hall warms up: not fit and quiet, also with an alarm whose cause has gone."""
    old = now_us() - HOUR
    known = fact(
        "gone", "duct-hall", "air flow below its window", Priority.MEDIUM, old, active=True
    )
    server.shop.records.alarms.add_facts([known])
    page = opener("/")
    tile = page.locator('.tile[data-station="north/duct-hall"]')
    expect(page.locator("[data-alarm=gone]")).to_be_visible()
    expect(tile).not_to_have_attribute("data-quiet", "")
    server.shop.end_alarm("gone")
    expect(page.locator("[data-alarm=gone]")).to_contain_text("returned to normal")
    expect(tile).to_have_attribute("data-quiet", "")
    page.reload()
    expect(tile).to_have_attribute("data-quiet", "")


def test_an_alarm_of_upkeep_leaves_a_tile_that_warms_up_calm(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/")
    tile = page.locator('.tile[data-station="north/duct-hall"]')
    told = fact("worn", "duct-hall", "filter at its limit", Priority.MEDIUM, now_us(), active=True)
    server.shop.records.alarms.add_facts([replace(told, kind="filter_limit")])
    expect(page.locator("[data-alarm=worn]")).to_be_visible()
    expect(tile).to_have_attribute("data-quiet", "")
    page.reload()
    expect(tile).to_have_attribute("data-quiet", "")


def test_the_work_list_prints(opener: Opener) -> None:
    page = opener("/work-list")
    page.evaluate("window.print = () => { window.printed = true; }")
    page.get_by_role("button", name="Print").click()
    assert page.evaluate("window.printed") is True
    page.emulate_media(media="print")
    expect(page.locator(".top")).to_be_hidden()
    expect(page.get_by_role("heading", name="Work list")).to_be_visible()

"""A wall that is left open holds no more after a while than at first: see `run.py pages`."""

import pytest
from playwright.sync_api import expect

from bench.page_wall import FAST, heard_once, held, let_live
from browser_watch import Opener, Watch
from fakes_pages import ShopServer
from steadybead_domain.alarms.model import Priority

pytestmark = pytest.mark.chromium
HOUR_S = 3600


def test_simulated_hours_leave_nothing_behind(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("wake lock", "NotAllowedError")
    page = opener("/signin")
    page.add_init_script(FAST)
    page.goto(server.url + "/?wall")
    scene = {**heard_once(server.url), "each": 5}
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.enable")
    session.send("Performance.enable")
    let_live(page, scene, 0, 2 * HOUR_S)  # the stream has broken off and begun anew by then
    expect(page.locator(".tile")).to_have_count(5)
    expect(page.locator("#alarms > *")).to_have_count(0)
    first = held(session)
    let_live(page, scene, 2 * HOUR_S, 2 * HOUR_S)
    expect(page.locator("#alarms > *")).to_have_count(0)
    last = held(session)
    # one card that is not collected yet is no leak; a card left behind by each alarm would be 300
    assert last["Nodes"] <= first["Nodes"] + 60
    assert last["JSEventListeners"] <= first["JSEventListeners"] + 10
    assert last["JSHeapUsedSize"] <= 1.2 * first["JSHeapUsedSize"]


def test_alarms_leave_room_for_the_stations_and_none_is_kept_secret(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("wake lock", "NotAllowedError")
    for number in range(5):  # beside the one that stands already
        server.shop.raise_alarm(f"a{number}", "bay-2", f"gun a: case {number}", Priority.MEDIUM)
    page = opener("/?wall")
    cards = page.locator("#alarms > .alarm")
    expect(cards).to_have_count(6)
    expect(page.locator("#alarms > .alarm:visible")).to_have_count(4)
    told = page.locator("#alarms").get_attribute("data-beyond")
    assert told == "And 2 more: see the page of alarms"
    expect(page.locator(".tile").first).to_be_in_viewport(ratio=1)

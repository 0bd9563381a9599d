"""The welder's entries while the network is gone: kept, in order, with their times, each once."""

import re

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from browser_watch import PHONE, Opener, Watch, violations
from fakes_pages import ANA, ShopServer, now_us
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import SECOND
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind

pytestmark = pytest.mark.chromium
BAY_1 = "/stations/north/bay-1"
PLACE = StationId("north", "bay-1")
NO_NETWORK = ("net::ERR_", "Failed to load resource")

A_MINUTE_AGO = """() => {
  for (const key of Object.keys(localStorage).filter((k) => k.includes("-entry-"))) {
    const entry = JSON.parse(localStorage[key]);
    entry.body.time = new Date(Date.parse(entry.body.time) - 60_000).toISOString();
    localStorage[key] = JSON.stringify(entry);
  }
}"""


def bench(page: Page) -> Locator:
    return page.locator('.bench[data-gun="b"]')


def outbox(page: Page) -> Locator:
    return page.locator("#outbox")


def welds(server: ShopServer) -> list[Weld]:
    return server.shop.records.welds.page(WeldSearch(station=PLACE, gun="b"), 100).items


def start(page: Page, job: str) -> None:
    bench(page).get_by_label("Job").fill(job)
    bench(page).get_by_role("button", name="Start the record").click()
    expect(bench(page).get_by_text("Weld record is running")).to_be_visible()


def stop(page: Page) -> None:
    bench(page).get_by_role("button", name="Stop the record").click()
    expect(bench(page).get_by_text("How does the bead look?")).to_be_visible()


def unplug(page: Page) -> None:
    """Cut what is sent; the page itself can still be loaded."""
    page.route(re.compile(r"/api/v1/(welds|reference-checks)"), lambda route: route.abort())


def plug(page: Page) -> None:
    page.unroute_all()


def elsewhere(server: ShopServer, weld: str) -> None:
    """Start a record on gun b by a reader at the bay."""
    event = WeldEvent(WeldEventKind.START, weld, PLACE, "b", now_us(), "reader", "mqtt")
    server.shop.records.add_weld_event(event)


def test_a_whole_weld_without_network_is_sent_in_order_and_once(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NO_NETWORK)
    page = opener(BAY_1, viewport=PHONE)
    expect(page.locator("#link")).to_have_text("Live")
    page.context.set_offline(True)
    before = now_us()
    start(page, "T-5")
    expect(bench(page).locator('[data-part="outcome"]')).to_contain_text("kept on this device")
    expect(outbox(page)).to_contain_text("Waiting to be sent: 1")
    stop(page)
    bench(page).get_by_role("button", name="Looks good").click()
    expect(outbox(page)).to_contain_text("Waiting to be sent: 3")
    start(page, "T-6")
    expect(outbox(page)).to_contain_text("Waiting to be sent: 4")
    after = now_us()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert violations(page) == []
    assert welds(server) == []
    page.wait_for_timeout(1500)  # what is sent has the time of the act, not that of its arrival
    page.context.set_offline(False)
    expect(outbox(page)).to_be_hidden()
    expect(bench(page).get_by_text("Weld record is running")).to_be_visible()
    second, first = welds(server)
    assert [w.job for w in (first, second)] == ["T-5", "T-6"]
    assert (first.details.visual, first.ended_by, second.stop) == ("accepted", "stop", None)
    times = [first.start, first.stop or 0, second.start]
    assert times == sorted(times)
    assert before - SECOND <= times[0] <= times[-1] <= after + SECOND // 2
    (seen,) = server.shop.records.welds.amendments(first.id)
    assert seen.acted is not None
    assert first.stop is not None
    assert first.stop <= seen.acted <= second.start


def test_lost_answers_double_nothing(opener: Opener, server: ShopServer, watch: Watch) -> None:
    watch.expect(*NO_NETWORK)
    page = opener(BAY_1)
    lost: set[str] = set()

    def answer_lost_once(route: Route) -> None:
        if route.request.url in lost:
            route.continue_()
            return
        lost.add(route.request.url)
        route.fetch()
        route.abort()

    page.route(re.compile(r"/api/v1/welds"), answer_lost_once)
    start(page, "T-7")
    stop(page)
    bench(page).get_by_role("button", name="Looks good").click()
    expect(outbox(page)).to_be_hidden()
    expect(bench(page).get_by_text("How does the bead look?")).to_be_hidden()
    page.wait_for_function("() => Object.keys(localStorage).every((k) => !k.includes('-entry-'))")
    (weld,) = welds(server)
    assert (weld.job, weld.details.visual, weld.amendments) == ("T-7", "accepted", 1)
    assert len(lost) == 3


def test_entries_survive_a_reload(opener: Opener, server: ShopServer, watch: Watch) -> None:
    watch.expect(*NO_NETWORK)
    page = opener(BAY_1)
    unplug(page)
    start(page, "T-8")
    page.reload()
    expect(outbox(page)).to_contain_text("Waiting to be sent: 1")
    expect(bench(page).get_by_text("Weld record is running")).to_be_visible()
    expect(bench(page).locator('[data-part="job"]')).to_have_text("T-8")
    stop(page)
    page.goto(server.url + "/welds")  # it goes from any page
    expect(outbox(page)).to_contain_text("Waiting to be sent: 2")
    plug(page)
    expect(outbox(page)).to_be_hidden()
    (weld,) = welds(server)
    assert (weld.job, weld.ended_by) == ("T-8", "stop")


def test_a_weld_that_another_record_overtook_becomes_a_late_entry(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NO_NETWORK, "409")
    page = opener(BAY_1)
    unplug(page)
    start(page, "T-9")
    stop(page)
    page.evaluate(A_MINUTE_AGO)
    elsewhere(server, "w-else")
    plug(page)
    expect(outbox(page)).to_be_hidden()
    found = {w.id == "w-else": w for w in welds(server)}
    assert (found[False].job, found[False].ended_by) == ("T-9", "late entry")
    assert found[True].stop is None


def test_what_is_refused_stays_with_its_reason(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NO_NETWORK, "409")
    page = opener(BAY_1)
    unplug(page)
    start(page, "T-10")
    page.evaluate(A_MINUTE_AGO)
    elsewhere(server, "w-else")
    plug(page)
    expect(outbox(page)).to_contain_text("Not taken: 1")
    expect(outbox(page)).to_contain_text("job T-10")
    expect(outbox(page)).to_contain_text("a later record was started on gun b")
    assert violations(page) == []
    page.reload()
    expect(outbox(page)).to_contain_text("Not taken: 1")
    outbox(page).get_by_role("button", name="Try again").click()
    expect(outbox(page)).to_contain_text("Not taken: 1")
    outbox(page).get_by_role("button", name="Throw away").click()
    outbox(page).get_by_role("button", name="Sure? Tap once more.").click()
    expect(outbox(page)).to_be_hidden()
    assert [w.id for w in welds(server)] == ["w-else"]


def sign_in(page: Page, server: ShopServer, name: str) -> None:
    actor = Actor(name, Role.WELDER)
    token = server.shop.records.access.create_token(actor, ANA, now_us(), "test")
    page.goto(server.url + "/signin?next=" + BAY_1)
    page.get_by_label("Token").fill(token)
    page.get_by_role("button", name="Sign in with the token").click()
    expect(page.locator(".person")).to_contain_text(name)


def test_nothing_is_sent_under_another_s_name(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NO_NETWORK, "401")
    page = opener(BAY_1)
    sign_in(page, server, "Rui")
    unplug(page)
    start(page, "T-11")
    plug(page)
    page.route("**/api/v1/welds", lambda route: route.abort())
    sign_in(page, server, "Marta")
    page.unroute("**/api/v1/welds")
    expect(outbox(page)).to_contain_text("Waiting until Rui signs in here: 1")
    expect(bench(page).get_by_role("button", name="Start the record")).to_be_visible()
    page.wait_for_timeout(3500)  # longer than it waits between two tries
    assert welds(server) == []
    sign_in(page, server, "Rui")
    expect(outbox(page)).to_be_hidden()
    (weld,) = welds(server)
    assert (weld.job, weld.started_by) == ("T-11", "Rui")


def test_a_session_that_ended_keeps_the_entry(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect(*NO_NETWORK, "401", "403")
    page = opener(BAY_1)
    sign_in(page, server, "Rui")
    page.evaluate("""document.querySelector('meta[name="csrf-token"]').content = "old" """)
    start(page, "T-12")
    expect(bench(page).locator('[data-part="outcome"]')).to_contain_text("Sign in again")
    expect(outbox(page)).to_contain_text("Waiting to be sent: 1")
    page.reload()
    expect(outbox(page)).to_be_hidden()
    assert [w.job for w in welds(server)] == ["T-12"]


def test_a_reference_check_waits_too(opener: Opener, server: ShopServer, watch: Watch) -> None:
    watch.expect(*NO_NETWORK)
    page = opener("/reference-check?station=north/bay-1&gun=a")
    unplug(page)
    fill_check(page)
    page.get_by_role("button", name="Keep the check").click()
    expect(outbox(page)).to_contain_text("reference check north/bay-1/gun-a/nozzle")
    before = now_us()
    plug(page)
    expect(outbox(page)).to_be_hidden()
    nozzle = ChannelId("north", "bay-1", "gun-a/nozzle")
    (kept,) = server.shop.records.instruments.check_page(10, None, nozzle, None).items
    assert (kept.reference, kept.time <= before) == (318.0, True)


def fill_check(page: Page) -> None:
    """Fill in the form by its names."""
    page.locator("#check details").evaluate_all("all => all.forEach((d) => { d.open = true; })")
    page.locator('[name="reference"]').fill("318")
    page.locator('[name="nozzle"]').fill("round 5 mm")
    page.locator('[name="reference_instrument"]').fill("probe 7")
    page.locator('[name="expanded_uncertainty"]').fill("2")

"""The station page in a real browser: records, and bad networks."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from browser_watch import PHONE, Opener, Watch
from fakes_pages import ANA, READER, ShopServer, now_us
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import StationId
from steadybead_domain.live import GunState
from steadybead_domain.people import Actor, Role
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind

pytestmark = pytest.mark.chromium
BAY_1 = "/stations/north/bay-1"


def bench(page: Page, gun: str) -> Locator:
    return page.locator(f'.bench[data-gun="{gun}"]')


def welds_of_gun_b(server: ShopServer) -> list[Weld]:
    search = WeldSearch(station=StationId("north", "bay-1"), gun="b")
    return server.shop.records.welds.page(search, 100).items


def fill(box: Locator, job: str, seam: str) -> None:
    box.get_by_label("Job").fill(job)
    box.get_by_label("Seam").fill(seam)
    box.get_by_label("Welder").fill("M. Duarte")


def test_a_record_is_started_and_stopped_by_touch_on_a_phone(
    opener: Opener, server: ShopServer
) -> None:
    page = opener(BAY_1, viewport=PHONE, has_touch=True)
    box = bench(page, "b")
    fill(box, "T-2290", "S3")
    box.get_by_role("button", name="Start the record").tap()
    expect(box.get_by_text("Weld record is running")).to_be_visible()
    expect(box.locator('[data-part="seam"]')).to_have_text("S3")
    expect(box.locator('[data-part="state-word"]')).to_have_text("Welding")
    (weld,) = welds_of_gun_b(server)
    assert (weld.job, weld.seam, weld.welder) == ("T-2290", "S3", "M. Duarte")
    assert (weld.started_by, weld.stop, weld.procedure) == ("demo visitor", None, "pp-speed-nozzle")
    box.get_by_role("button", name="Stop the record").tap()
    expect(box.locator('[data-part="outcome"]')).to_contain_text("Weld record stopped.")
    expect(box.get_by_role("button", name="Looks good")).to_be_in_viewport(ratio=1)
    expect(box.get_by_role("button", name="Does not look good")).to_be_in_viewport(ratio=1)
    expect(box.get_by_role("button", name="Start the record")).to_be_visible()
    (weld,) = welds_of_gun_b(server)
    assert weld.stop is not None
    assert weld.stopped_by == "demo visitor"


def test_a_record_is_started_and_stopped_by_keyboard_alone(
    opener: Opener, server: ShopServer
) -> None:
    page = opener(BAY_1)
    box = bench(page, "b")
    job = box.get_by_label("Job")
    for _ in range(40):
        page.keyboard.press("Tab")
        if job.evaluate("(field) => field === document.activeElement"):
            break
    page.keyboard.type("T-77")
    page.keyboard.press("Tab")
    page.keyboard.type("S9")
    page.keyboard.press("Enter")
    expect(box.get_by_role("button", name="Stop the record")).to_be_focused()
    page.keyboard.press("Enter")
    expect(box.locator('[data-part="outcome"]')).to_contain_text("Weld record stopped.")
    (weld,) = welds_of_gun_b(server)
    assert (weld.job, weld.seam, weld.stop is None) == ("T-77", "S9", False)


def test_a_live_message_from_before_an_act_does_not_undo_it(
    opener: Opener, server: ShopServer
) -> None:
    page = opener(BAY_1)
    box = bench(page, "b")
    expect(page.locator("#link")).to_have_text("Live")
    server.shop.hides_records = True
    box.get_by_role("button", name="Start the record").click()
    expect(box.get_by_text("Weld record is running")).to_be_visible()
    server.shop.guns["bay-1", "b"].temperature = 333.0
    expect(box.locator('[data-channel="gun-b/nozzle"]')).to_contain_text(re.compile("33[1-5]"))
    expect(box.get_by_text("Weld record is running")).to_be_visible()
    server.shop.hides_records = False
    expect(box.locator('[data-part="state-word"]')).to_have_text("Welding")
    expect(box.get_by_text("Weld record is running")).to_be_visible()


def test_the_form_says_while_the_gun_is_not_warm(opener: Opener, server: ShopServer) -> None:
    gun = server.shop.guns["bay-1", "b"]
    page = opener(BAY_1, viewport=PHONE)
    hint = bench(page, "b").locator('[data-part="start-hint"]')
    expect(hint).to_be_hidden()
    gun.state = GunState.WARMING
    expect(hint).to_contain_text("The gun is still warming")
    expect(bench(page, "b").get_by_role("button", name="Start the record")).to_be_enabled()
    page.reload()
    expect(hint).to_contain_text("The gun is still warming")
    gun.state, gun.temperature = GunState.READY, 351.0
    expect(hint).to_contain_text("A value is outside its window")
    gun.temperature = 320.0
    expect(hint).to_have_text("")
    server.shop.sending = False
    expect(hint).to_contain_text("Nothing is heard of this gun")


def test_a_stopped_record_comes_to_the_latest_ones(opener: Opener, server: ShopServer) -> None:
    page = opener(BAY_1, viewport=PHONE)
    box = bench(page, "b")
    fill(box, "T-9", "S1")
    box.get_by_text("Trial weld, length, rod").click()
    box.locator("form.start").get_by_label("Length, mm").fill("480")
    box.locator("form.start").get_by_label("Trial weld").select_option("passed")
    box.get_by_role("button", name="Start the record").click()
    box.get_by_role("button", name="Stop the record").click()
    expect(page.locator("#recent-records")).to_contain_text("T-9 / S1")
    # The next seam has a length and a trial weld of its own.
    expect(box.locator("form.start").get_by_label("Length, mm")).to_have_value("")
    expect(box.locator("form.start").get_by_label("Trial weld")).to_have_value("")
    assert [w.details.trial for w in welds_of_gun_b(server)] == ["passed"]


def test_the_welder_s_name_is_kept_on_this_device(opener: Opener) -> None:
    page = opener(BAY_1)
    fill(bench(page, "b"), "T-1", "S1")
    bench(page, "b").get_by_role("button", name="Start the record").click()
    expect(bench(page, "b").get_by_text("Weld record is running")).to_be_visible()
    page.reload()
    expect(bench(page, "a").get_by_label("Welder")).to_have_value("M. Duarte")


def test_a_record_started_elsewhere_appears_and_can_be_stopped_here(
    opener: Opener, server: ShopServer
) -> None:
    page = opener(BAY_1)
    place = StationId("north", "bay-1")
    event = WeldEvent(
        WeldEventKind.START, "from-scanner", place, "b", now_us(), READER.name, "mqtt", job="T-8"
    )
    server.shop.records.add_weld_event(event)
    box = bench(page, "b")
    expect(box.locator('[data-part="job"]')).to_have_text("T-8")
    box.get_by_role("button", name="Stop the record").click()
    expect(box.get_by_role("button", name="Start the record")).to_be_visible()
    assert welds_of_gun_b(server)[0].stopped_by == "demo visitor"


def test_a_refused_act_says_why(opener: Opener, watch: Watch) -> None:
    watch.expect("422")
    page = opener(BAY_1)
    page.evaluate("""document.querySelectorAll("option").forEach((o) => { o.value = "none"; })""")
    bench(page, "b").get_by_role("button", name="Start the record").click()
    outcome = bench(page, "b").locator('[data-part="outcome"]')
    expect(outcome).to_contain_text("Not done")
    expect(outcome).to_have_attribute("data-problem", "")


def test_the_strips_draw_the_last_five_minutes(opener: Opener, watch: Watch) -> None:
    watch.expect("willReadFrequently")
    page = opener(BAY_1, viewport=PHONE)
    strip = page.locator('[data-chart="gun-a/nozzle"] canvas')
    expect(strip).to_be_visible()
    page.wait_for_function(DARK_PIXELS, arg=None)


DARK_PIXELS = """() => {
  const canvas = document.querySelector('[data-chart="gun-a/nozzle"] canvas');
  if (!canvas) return false;
  const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let dark = 0;
  for (let i = 0; i < data.length; i += 4) if (data[i] < 80 && data[i + 3] > 200) dark += 1;
  return dark > canvas.width / 3;
}"""


def test_a_viewer_sees_no_acts(opener: Opener, server: ShopServer) -> None:
    viewer = Actor("Hall screen", Role.VIEWER)
    token = server.shop.records.access.create_token(viewer, ANA, now_us(), "test")
    page = opener("/signin?next=" + BAY_1)
    page.get_by_label("Token").fill(token)
    page.get_by_role("button", name="Sign in with the token").click()
    expect(page).to_have_url(server.url + BAY_1)
    expect(page.get_by_text("Hall screen")).to_be_visible()
    expect(page.get_by_role("button", name="Start the record")).to_have_count(0)

"""From a job's seam to its report: search, verdict, log, amendments, sign-off, cut plan, files."""

import io
import json
import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from playwright.sync_api import Page, expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ANA, PROCEDURE, READER, ShopServer, now_us, open_shop_server
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.readings import Batch, Columns, Quality, Reason
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

pytestmark = pytest.mark.chromium
RECORD = "/welds/w-1001"
BAY_1 = StationId("north", "bay-1")
LOOKED_AT = (
    RECORD,
    "/welds?job=none",
    "/welds/new",
    "/procedures",
    "/procedures/pp-speed-nozzle",
    "/procedures/pp-speed-nozzle/revise",
    "/quality",
    "/?wall",
)
SIZES = {"phone": PHONE, "wide": WIDE}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    """One shop for all of these tests; each acts on a record of its own."""
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        yield running


def weld(server: ShopServer, name: str, minutes_ago: float = 9.0) -> str:
    """Keep a finished record of five minutes; give the address of its page."""
    start = now_us() - int(minutes_ago * MINUTE)
    begun = WeldEvent(
        WeldEventKind.START, name, BAY_1, "b", start, READER.name, "mqtt", PROCEDURE, 1,
        f"job {name}", "12", "M. Duarte",
    )  # fmt: skip
    server.shop.records.add_weld_event(begun)
    stop = WeldEvent(WeldEventKind.STOP, name, BAY_1, "b", start + 5 * MINUTE, READER.name, "mqtt")
    server.shop.records.add_weld_event(stop)
    return f"/welds/{name}"


def loaded(page: Page) -> Page:
    expect(page.locator("#trace")).to_have_attribute("data-loaded", "")
    return page


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("wide", "dark")])
@pytest.mark.parametrize("path", LOOKED_AT)
def test_these_pages_are_accessible_and_fit_the_screen(
    path: str, size: str, scheme: str, opener: Opener
) -> None:
    options: dict[str, Any] = {"viewport": SIZES[size], "color_scheme": scheme}
    page = opener(path, **options)
    if page.locator("#trace").count():
        loaded(page).locator("#amend-details summary").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size]["width"]
    assert violations(page) == []


def test_from_job_and_seam_to_the_printed_report(opener: Opener, server: ShopServer) -> None:
    weld(server, "w-found")
    page = opener("/quality")
    page.get_by_label("Job").fill("JOB  w-Found")
    page.get_by_label("Seam").fill("12")
    page.keyboard.press("Enter")
    rows = page.locator(".weld-table tbody tr")
    expect(rows).to_have_count(1)
    rows.get_by_role("link").click()
    loaded(page)
    expect(page.locator("#verdict-title")).to_have_text(re.compile("Heat and air"))
    expect(page.get_by_text("What this log cannot prove")).to_be_visible()
    expect(page.get_by_text("the force on the rod")).to_be_visible()
    page.evaluate("window.print = () => { window.printed = true; }")
    page.get_by_role("button", name="Print the report").click()
    assert page.evaluate("window.printed")
    report = page.pdf(format="A4")
    assert report.startswith(b"%PDF")
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Print the report")).not_to_be_visible()
    expect(page.locator("#amend-title")).not_to_be_visible()


def test_the_report_is_light_also_where_the_screen_is_dark(opener: Opener) -> None:
    page = loaded(opener(RECORD, color_scheme="dark"))
    page.emulate_media(media="print", color_scheme="dark")
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    ink = page.evaluate("getComputedStyle(document.querySelector('h1')).color")
    assert ink == "rgb(0, 0, 0)"


def test_a_length_that_is_entered_draws_the_seam_and_a_correction_asks_why(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("422")
    page = loaded(opener(weld(server, "w-length")))
    page.locator("#amend-details summary").click()
    form = page.locator("#amend")
    form.get_by_label("Length of the seam, mm").fill("1 m")
    form.get_by_role("button", name="Keep it").click()
    expect(form.locator("#problem-seam_length_mm")).to_contain_text("“1 m” is no number")
    form.get_by_label("Length of the seam, mm").fill("1000")
    form.get_by_label("Number of beads").fill("2")
    form.get_by_role("button", name="Keep it").click()
    expect(page.locator(".seam-name")).to_have_text(["1", "2"])
    expect(page.locator("#history tbody tr")).to_have_count(1)
    loaded(page).locator("#amend-details summary").click()
    page.locator("#amend").get_by_label("Seam", exact=True).fill("13")
    page.locator("#amend").get_by_role("button", name="Keep it").click()
    expect(page.locator("#problem-reason")).to_contain_text("say why")
    page.locator("#amend").get_by_label("Reason").fill("read from the wrong line")
    page.locator("#amend").get_by_role("button", name="Keep it").click()
    expect(page.locator("h1")).to_have_text("Job job w-length, seam 13")
    expect(page.locator("#history tbody tr").first).to_contain_text("Seam: 12 → 13")
    expect(page.locator("#history tbody tr").first).to_contain_text("read from the wrong line")


def test_a_sign_off_goes_stale_with_the_next_amendment(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("409")
    page = loaded(opener(weld(server, "w-signed")))
    page.get_by_role("button", name="Sign as the supervisor").click()
    expect(page.locator(".signatures")).to_contain_text("Supervisor: demo visitor")
    loaded(page).get_by_role("button", name="Sign as the welder").click()
    expect(page.locator('[data-part="sign-outcome"]')).to_contain_text("the same person cannot")
    server.shop.records.welds.amend("w-signed", {"beads": 2}, "", ANA, now_us(), "http")
    page.reload()
    expect(page.locator(".signatures")).to_contain_text("amended since: sign again")


def test_a_weld_is_entered_afterwards(opener: Opener) -> None:
    page = opener("/welds/new", timezone_id="Asia/Tokyo")
    form = page.locator("#late")
    form.get_by_label("Gun").select_option(label="Bay 2, a")
    form.get_by_label("Start, time").fill("2026-05-04T17:00:00")
    form.get_by_label("Stop, time").fill("2026-05-04T17:20:00")
    form.get_by_label("Job").fill("late job")
    form.get_by_label("Why it is entered").fill("the scanner was flat")
    form.get_by_role("button", name="Keep the record").click()
    expect(page.locator("h1")).to_have_text("Job late job")
    expect(page.locator(".weld-facts")).to_contain_text("2026-05-04 09:00:00")  # Lisbon
    expect(page.locator("#history")).to_contain_text("the scanner was flat")


def test_a_procedure_is_revised_and_approved(opener: Opener, watch: Watch) -> None:
    watch.expect("422")
    page = opener("/procedures")
    page.get_by_role("link", name="PVDF, round nozzle").click()
    page.get_by_role("link", name="Make a new revision").click()
    form = page.locator("#procedure")
    window = form.get_by_role("group", name="Temperature")
    window.get_by_label("from").fill("375")
    form.get_by_role("button", name="Keep as revision 2").click()
    expect(page.locator("#problem-nozzle_temperature")).to_contain_text("above the upper one")
    window.get_by_label("from").fill("355")
    form.get_by_label("Why this revision is made").fill("trial welds of May")
    form.get_by_role("button", name="Keep as revision 2").click()
    expect(page.locator(".spec")).to_contain_text("355 – 370 °C set by the shop")
    expect(page.locator("#revisions ~ div tbody tr")).to_have_count(2)
    page.get_by_role("button", name="Approve revision 2").click()
    expect(page.locator(".weld-facts")).to_contain_text("demo visitor")
    expect(page.get_by_role("button", name="Approve revision 2")).to_have_count(0)
    page.goto(page.url + "?revision=1")
    expect(page.locator(".spec")).to_contain_text("350 – 370 °C found")


def test_strips_are_planned_and_a_result_says_what_follows(
    opener: Opener, server: ShopServer
) -> None:
    address = weld(server, "w-cut")
    length = {"seam_length_mm": 900.0}
    server.shop.records.welds.amend("w-cut", length, "", ANA, now_us(), "http")
    page = loaded(opener(address))
    page.locator("#cut-plan").get_by_label("Why").fill("the customer asks")
    page.locator("#cut-plan").get_by_role("button").click()
    rows = page.locator("#cuts .cut tbody tr")
    expect(rows.first).to_contain_text("mm")
    sheet = page.get_by_role("link", name="Sheet to cut by").get_attribute("href")
    answer = page.request.get(f"{server.url}{sheet}")
    assert answer.body().startswith(b"%PDF")
    page.get_by_text("Enter the test of a strip").click()
    page.locator("#cut-result").get_by_label("Measured").fill("160")
    page.locator("#cut-result").get_by_label("Unit").fill("°")
    page.locator("#cut-result").get_by_role("button").click()
    expect(rows.first).to_contain_text("met bend, 160 °")


def test_files_of_the_trace(opener: Opener, server: ShopServer) -> None:
    page = loaded(opener(weld(server, "w-files")))

    def saved(name: str) -> bytes:
        with page.expect_download() as download:
            page.get_by_role("button", name=name).click()
        return download.value.path().read_bytes()

    table = pq.read_table(io.BytesIO(saved("Parquet"))).to_pandas()
    told = json.loads(saved("JSON"))
    assert told["next"] is None
    nozzle = next(c for c in told["channels"] if c["channel"].endswith("gun-b/nozzle"))
    rows = table[table["channel"] == "north/bay-1/gun-b/nozzle"]
    assert len(rows) == len(nozzle["time"]) > 1000
    assert saved("Picture").startswith(b"\x89PNG")


def fill_long(server: ShopServer, name: str, points: int) -> None:
    """Keep a record of `points` readings at 10 Hz, long ago, so that no other test meets it."""
    start = now_us() - 40 * DAY
    times = start + np.arange(points, dtype=np.int64) * (SECOND // 10)
    value = np.round(320 + 8 * np.sin(times / (600 * SECOND)), 2)
    value[points // 2] = 400.0  # one reading out of a million
    columns = Columns(
        times, value, value, np.full(points, Quality.GOOD, np.uint8),
        np.full(points, Reason.NONE, np.uint8), np.ones(points, np.uint32),
    )  # fmt: skip
    for what in ("nozzle", "flow"):
        channel = ChannelId("north", "bay-2", f"gun-a/{what}")
        server.shop.readings.append(Batch(start, {channel: columns}))
    place = StationId("north", "bay-2")
    begun = WeldEvent(WeldEventKind.START, name, place, "a", start, "x", "mqtt", PROCEDURE, 1)
    server.shop.records.add_weld_event(begun)
    end = start + points * SECOND // 10
    stop = WeldEvent(WeldEventKind.STOP, name, place, "a", end, "x", "mqtt")
    server.shop.records.add_weld_event(stop)


def test_a_million_readings_pan_and_zoom_without_drawing_a_million(
    opener: Opener, server: ShopServer
) -> None:
    fill_long(server, "w-long", 1_000_000)
    page = loaded(opener("/welds/w-long"))
    chart = page.locator("[data-channel]").first
    drawn = "Number(document.querySelector('[data-channel]').dataset.drawn)"
    assert page.evaluate(drawn) <= 3_000
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if "/readings" in r.url else None)
    page.get_by_role("button", name="Closer").click(click_count=3)  # an eighth: 3.5 hours
    expect(chart).to_have_attribute("data-detail", "buckets")
    page.wait_for_function(
        "() => { const d = document.querySelector('[data-channel]').dataset;"
        " return Number(d.drawn) > 0; }"
    )
    for _ in range(10):
        page.get_by_role("button", name="Later").click()
    page.wait_for_function("() => performance.now() > 0")
    assert page.evaluate(drawn) <= 3_000
    for _ in range(4):
        page.get_by_role("button", name="Closer").click()
    expect(chart).to_have_attribute("data-detail", "readings")
    assert page.evaluate(drawn) <= 45_000
    assert all("points=" in url for url in asked if span_s(url) > 3_700)


def span_s(url: str) -> float:
    """Give the seconds that a question for readings covers."""
    start, end = (re.search(rf"{name}=([^&]+)", url) for name in ("start", "end"))
    assert start is not None
    assert end is not None
    moments = [np.datetime64(m[1].replace("%3A", ":").removesuffix("Z")) for m in (start, end)]
    return float((moments[1] - moments[0]) / np.timedelta64(1, "s"))


def test_the_one_reading_out_of_a_million_is_seen_in_the_whole(
    opener: Opener, server: ShopServer
) -> None:
    fill_long(server, "w-peak", 20_000)
    page = loaded(opener("/welds/w-peak"))
    highest = page.locator(".summary-table tbody tr").first.locator("td").nth(2)
    expect(highest).to_have_text("400")


def test_the_welder_says_how_it_looks_right_after_the_stop(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/stations/north/bay-4", viewport=PHONE, has_touch=True)
    bench = page.locator('[data-gun="a"]')
    bench.get_by_label("Job").fill("J-9")
    bench.get_by_role("button", name="Start the record").tap()
    bench.get_by_role("button", name="Stop the record").tap()
    after = bench.locator('[data-part="after"]')
    after.get_by_label("Length, mm").fill("350")
    after.get_by_role("button", name="Looks good").tap()
    expect(bench.locator('[data-part="outcome"]').first).to_contain_text("Visual result kept.")
    [found] = [w for w in newest(server) if w.job == "J-9"]
    assert (found.details.visual, found.details.seam_length_mm) == ("accepted", 350.0)


def newest(server: ShopServer) -> list[Any]:
    from steadybead_collector.records.welds import WeldSearch  # noqa: PLC0415

    return server.shop.records.welds.page(WeldSearch(began_from=now_us() - HOUR), 50).items


def test_the_wall_shows_only_the_floor_and_marks_stale_data(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("ERR_", "Failed to load resource")
    page = opener("/?wall")
    expect(page.locator("body")).to_have_class(re.compile("wall"))
    expect(page.locator(".top")).not_to_be_visible()
    expect(page.locator(".wall-clock")).to_be_visible()
    server.stop()
    try:
        expect(page.locator("#stale")).to_be_visible(timeout=20_000)
        expect(page.locator("body")).to_have_attribute("data-silent", "")
    finally:
        server.start()
    expect(page.locator("#stale")).not_to_be_visible(timeout=20_000)
    page.get_by_role("button", name="Leave the wall").click()
    expect(page.locator(".top")).to_be_visible()


def test_todays_welds_come_by_themselves(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    expect(page.locator("#link")).to_have_text("Live")
    weld(server, "w-today", 0.0)
    begun = WeldEvent(
        WeldEventKind.START, "w-now", BAY_1, "b", now_us(), READER.name, "mqtt", PROCEDURE, 1,
        "running now",
    )  # fmt: skip
    server.shop.records.add_weld_event(begun)
    expect(page.locator("#today")).to_contain_text("running now", timeout=20_000)
    stop = WeldEvent(WeldEventKind.STOP, "w-now", BAY_1, "b", now_us(), READER.name, "mqtt")
    server.shop.records.add_weld_event(stop)

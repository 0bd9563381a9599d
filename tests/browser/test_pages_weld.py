"""The trace of a weld record in a real browser: zoom and pan, gaps, marks, cursor, export."""

import csv
import io
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser_watch import PHONE, Opener, Watch
from fakes_pages import ANA, ShopServer, now_us
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import HOUR, MINUTE, SECOND

pytestmark = pytest.mark.chromium
RECORD = "/welds/w-1001"
THIN = 150  # thin slanted strokes are blended with the ground; other colours are further off
LONG = 14 * 60.0  # twelve minutes and a minute on either side

# Counts, in a strip of time of the first chart, the columns of pixels in which the line's colour
# or the colour of bad readings is found.
COLUMNS_WITH = """([from, to, name, tolerance]) => {
  const box = document.querySelector("[data-channel]");
  const canvas = box.querySelector("canvas");
  const over = box.querySelector(".u-over");
  const ratio = canvas.width / canvas.getBoundingClientRect().width;
  const left = over.getBoundingClientRect().left - canvas.getBoundingClientRect().left;
  const section = document.getElementById("trace").dataset;
  const [first, last] = [Number(section.shownFrom), Number(section.shownTo)];
  const x = (t) => Math.round((left + ((t - first) / (last - first)) * over.clientWidth) * ratio);
  const probe = document.createElement("canvas").getContext("2d");
  probe.fillStyle = getComputedStyle(box).getPropertyValue(name);
  probe.fillRect(0, 0, 1, 1);
  const wanted = probe.getImageData(0, 0, 1, 1).data;
  const [a, b] = [x(from), x(to)];
  const above = over.getBoundingClientRect().top - canvas.getBoundingClientRect().top;
  const height = Math.round((above + over.clientHeight) * ratio);
  const data = canvas.getContext("2d").getImageData(a, 0, b - a, height).data;
  let found = 0;
  for (let i = 0; i < b - a; i += 1) {
    for (let j = 0; j < height; j += 1) {
      const at = 4 * (j * (b - a) + i);
      const apart = [0, 1, 2].reduce((sum, k) => sum + Math.abs(data[at + k] - wanted[k]), 0);
      if (apart < tolerance) { found += 1; break; }
    }
  }
  return found / (b - a);
}"""


def ready(page: Page) -> Page:
    expect(page.locator("#trace")).to_have_attribute("data-loaded", "")
    expect(page.locator("[data-channel]").first).to_have_attribute("data-detail", "readings")
    return page


def shown(page: Page) -> tuple[float, float]:
    section = page.locator("#trace")
    ends = [section.get_attribute(f"data-shown-{end}") for end in ("from", "to")]
    return float(ends[0] or "nan"), float(ends[1] or "nan")


def length(page: Page) -> float:
    first, last = shown(page)
    return last - first


def moment_in(page: Page, phase_s: int) -> float:
    """Find the first time in the trace at which the five-minute pattern is at a phase."""
    first = int(shown(page)[0])
    return next(float(t) for t in range(first + 61, first + 400) if t % 300 == phase_s)


def test_the_whole_trace_is_shown_with_window_and_figures(opener: Opener) -> None:
    page = ready(opener(RECORD))
    assert length(page) == pytest.approx(LONG, abs=0.01)
    expect(page.locator('[data-part="window"]').first).to_have_text("window 300 – 340 °C")
    rows = page.locator(".summary-table tbody tr")
    expect(rows).to_have_count(2)
    cells = rows.first.locator("td").all_text_contents()
    lowest, mean, highest, readings, doubtful, gaps = (float(c) for c in cells)
    assert 315 <= lowest < mean < highest <= 329
    assert 2 <= gaps <= 3
    # Twelve minutes at 5 Hz, less 20 s of gap in each five minutes.
    assert 3600 - gaps * 101 <= readings <= 3600 - (gaps - 1) * 80
    assert 0 < doubtful < 300


def test_buttons_zoom_and_pan(opener: Opener) -> None:
    page = ready(opener(RECORD))
    page.get_by_role("button", name="Closer").click()
    assert length(page) == pytest.approx(LONG / 2, abs=0.01)
    first = shown(page)[0]
    page.get_by_role("button", name="Earlier").click()
    assert shown(page)[0] == pytest.approx(first - LONG / 4, abs=0.01)
    page.get_by_role("button", name="Later").click()
    assert shown(page)[0] == pytest.approx(first, abs=0.01)
    page.get_by_role("button", name="Wider").click()
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Whole").click()
    assert length(page) == pytest.approx(LONG, abs=0.01)


def test_keys_zoom_pan_and_read_values(opener: Opener) -> None:
    page = ready(opener(RECORD))
    page.locator("[data-channel]").first.focus()
    page.keyboard.press("+")
    assert length(page) == pytest.approx(LONG / 2, abs=0.01)
    first = shown(page)[0]
    page.keyboard.press("Shift+ArrowRight")
    assert shown(page)[0] == pytest.approx(first + LONG / 20, abs=0.01)
    page.keyboard.press("ArrowRight")
    output = page.locator('[data-part="cursor"]')
    expect(output).to_have_attribute("aria-live", "polite")
    expect(output).to_have_text(
        re.compile(r"\d\d:\d\d:\d\d\s+Nozzle temperature .+ · Air flow .+"),
    )
    page.keyboard.press("0")
    assert length(page) == pytest.approx(LONG, abs=0.01)


def test_mouse_drag_zooms_wheel_zooms_shift_drag_pans_double_click_resets(opener: Opener) -> None:
    page = ready(opener(RECORD))
    over = page.locator(".u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    y = box["y"] + 50
    page.mouse.move(box["x"] + box["width"] * 0.25, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.75, y, steps=8)
    page.mouse.up()
    expect(page.locator("#trace")).not_to_have_attribute("data-shown-from", "")
    assert length(page) == pytest.approx(LONG / 2, rel=0.02)
    first = shown(page)[0]
    page.keyboard.down("Shift")
    page.mouse.move(box["x"] + box["width"] * 0.75, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, y, steps=8)
    page.mouse.up()
    page.keyboard.up("Shift")
    assert shown(page)[0] == pytest.approx(first + LONG / 8, rel=0.02)
    assert length(page) == pytest.approx(LONG / 2, rel=0.02)
    page.keyboard.down("Control")
    page.mouse.wheel(0, -120)
    page.keyboard.up("Control")
    page.wait_for_function(
        "() => { const d = document.getElementById('trace').dataset;"
        " return d.shownTo - d.shownFrom < 400; }"
    )
    page.mouse.dblclick(box["x"] + box["width"] / 2, y)
    assert length(page) == pytest.approx(LONG, abs=0.01)


def test_two_fingers_zoom_and_one_moves(opener: Opener) -> None:
    page = ready(opener(RECORD, viewport=PHONE, has_touch=True))
    over = page.locator(".u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    touch = page.context.new_cdp_session(page)
    left, width, y = box["x"], box["width"], box["y"] + 60

    def send(kind: str, *shares: float) -> None:
        points = [{"x": left + width * s, "y": y, "id": i} for i, s in enumerate(shares)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", 0.4)
    send("touchStart", 0.4, 0.6)
    for i in range(1, 6):
        send("touchMove", 0.4 - 0.04 * i, 0.6 + 0.04 * i)
    send("touchEnd")
    # The fingers end three times as far apart, so a third of the time remains between the edges.
    assert length(page) == pytest.approx(LONG / 3, rel=0.05)
    first = shown(page)[0]
    send("touchStart", 0.7)
    for i in range(1, 6):
        send("touchMove", 0.7 - 0.1 * i)
    send("touchEnd")
    assert shown(page)[0] == pytest.approx(first + LONG / 6, rel=0.05)


def test_gaps_stay_gaps_and_bad_readings_are_marked(opener: Opener, watch: Watch) -> None:
    watch.expect("willReadFrequently")
    page = ready(opener(RECORD))
    gap = moment_in(page, 100)
    bad = moment_in(page, 250)

    def share(first: float, last: float, colour: str, tolerance: int = 40) -> float:
        found = page.evaluate(COLUMNS_WITH, [first, last, colour, tolerance])
        assert isinstance(found, int | float)
        return found

    assert share(gap + 2, gap + 18, "--chart-line") == 0
    assert share(gap - 30, gap - 2, "--chart-line") > 0.9
    assert share(gap + 22, gap + 50, "--chart-line") > 0.9
    assert share(bad + 1, bad + 4, "--chart-line") == 0
    assert share(bad - 3, bad + 8, "--high", THIN) > 0.2
    uncertain = moment_in(page, 200)
    assert share(uncertain, uncertain + 10, "--medium-mark", THIN) > 0.2


def test_the_cursor_names_value_quality_and_gap(opener: Opener) -> None:
    page = ready(opener(RECORD))
    page.locator(".u-over").first.scroll_into_view_if_needed()
    box = page.locator(".u-over").first.bounding_box()
    assert box is not None
    output = page.locator('[data-part="cursor"]')

    def point_at(t: float) -> None:
        share = (t - shown(page)[0]) / length(page)
        page.mouse.move(box["x"] + share * box["width"], box["y"] + 80)

    point_at(moment_in(page, 110))
    expect(output).to_contain_text("Nozzle temperature gap, no reading")
    point_at(moment_in(page, 205))
    expect(output).to_contain_text("(uncertain: time of receipt)")
    point_at(moment_in(page, 252))
    expect(output).to_contain_text("– °C (bad: open circuit)")
    point_at(moment_in(page, 150))
    expect(output).to_contain_text(re.compile(r"Nozzle temperature 3[12]\d °C · Air flow [45]\d"))


def test_the_export_gives_every_reading_as_csv(opener: Opener, tmp_path: Path) -> None:
    page = ready(opener(RECORD))
    with page.expect_download() as begun:
        page.get_by_role("button", name="Nozzle temperature as CSV").click()
    assert begun.value.suggested_filename == "w-1001-nozzle_temperature.csv"
    target = tmp_path / "trace.csv"
    begun.value.save_as(target)
    rows = list(csv.DictReader(io.StringIO(target.read_text("utf-8"))))
    assert list(rows[0]) == ["time", "value", "unit", "quality", "reason"]
    assert 3700 <= len(rows) <= 4200
    with page.expect_download() as begun:
        page.get_by_role("button", name="All channels as CSV").click()
    assert begun.value.suggested_filename == "w-1001.csv"
    expect(page.locator('[data-part="export-outcome"]')).to_have_text("Export ready: w-1001.csv")


def test_a_long_record_is_an_overview_until_one_looks_closer(
    opener: Opener, server: ShopServer
) -> None:
    server.shop.filled_to = now_us() - 5 * HOUR
    server.shop.fill(now_us() - 40 * MINUTE)
    start = now_us() - 4 * HOUR
    server.shop.add_weld("w-long", start, start + 3 * HOUR)
    page = opener("/welds/w-long")
    expect(page.locator("#trace")).to_have_attribute("data-loaded", "")
    lane = page.locator("[data-channel]").first
    expect(lane).to_have_attribute("data-detail", "buckets")
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Closer").click()
    expect(lane).to_have_attribute("data-detail", "readings")
    page.get_by_role("button", name="Whole").click()
    expect(lane).to_have_attribute("data-detail", "buckets")


def test_a_running_record_grows(opener: Opener, server: ShopServer) -> None:
    start = now_us() - 30 * SECOND
    server.shop.add_weld("w-open", start, None)
    page = ready(opener("/welds/w-open"))
    before = shown(page)[1]
    page.wait_for_function(
        "(before) => Number(document.getElementById('trace').dataset.shownTo) > before + 5",
        arg=before,
    )
    assert shown(page)[0] == pytest.approx(start / SECOND - 60, abs=0.01)


def test_the_welder_s_name_is_for_quality_only(opener: Opener, server: ShopServer) -> None:
    page = ready(opener(RECORD))
    expect(page.get_by_text("M. Duarte").first).to_be_visible()
    viewer = Actor("Hall screen", Role.VIEWER)
    token = server.shop.records.access.create_token(viewer, ANA, now_us(), "test")
    page.goto(server.url + "/signin?next=" + RECORD)
    page.get_by_label("Token").fill(token)
    page.get_by_role("button", name="Sign in with the token").click()
    expect(page.get_by_role("link", name="Hall screen")).to_be_visible()
    expect(page.get_by_role("heading", name="Job T-2281, seam S14")).to_be_visible()
    expect(page.get_by_text("M. Duarte")).to_have_count(0)

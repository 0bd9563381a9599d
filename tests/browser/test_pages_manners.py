"""What every page owes: access for all, small size, no call elsewhere, sign-in, old links."""

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from playwright.sync_api import expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ShopServer, now_us, open_shop_server
from steadybead_dashboards.gauge import gauge
from steadybead_domain.times import MINUTE

pytestmark = pytest.mark.chromium
PAGES = (
    "/",
    "/stations/north/bay-1",
    "/welds",
    "/welds/w-1001",
    "/maintenance",
    "/alarms",
    "/alarms/alarm-1",
    "/alarm-quality",
    "/work-list",
    "/setup",
    "/signin",
    "/stations/north/nowhere",
)
LARGEST_FIRST_VIEW = 300_000
SIZES = {"phone": PHONE, "wide": WIDE}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    """One shop for all of these tests: they only look."""
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        running.shop.add_weld("w-1002", now_us() - 3 * MINUTE, None)
        yield running


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", sorted(SIZES))
@pytest.mark.parametrize("path", PAGES)
def test_pages_are_accessible_and_fit_the_screen(
    path: str, size: str, scheme: str, opener: Opener, watch: Watch
) -> None:
    watch.expect("404")
    options: dict[str, Any] = {"viewport": SIZES[size], "color_scheme": scheme}
    page = opener(path, **options)
    if page.locator("#link").count():
        expect(page.locator("#link")).to_have_text("Live")
    if page.locator("#trace").count():
        expect(page.locator("#trace")).to_have_attribute("data-loaded", "")
    if page.locator("#onset").count():
        expect(page.locator("#onset")).to_have_attribute("data-loaded", "")
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= SIZES[size]["width"]
    assert violations(page) == []


def test_axe_would_find_a_fault(opener: Opener) -> None:
    page = opener("/signin")
    page.evaluate("document.querySelector('label').remove()")
    assert "label" in [rule for rule, _ in violations(page)]


def test_server_and_browser_draw_the_same_gauge(opener: Opener, server: ShopServer) -> None:
    page = opener("/")
    base = page.locator('link[href$="mark.svg"]').get_attribute("href") or ""
    address = server.url + base.replace("mark.svg", "gauge.js")
    windows: list[tuple[float | None, float | None]] = [
        (300.0, 340.0),
        (45.0, None),
        (None, 250.0),
        (None, None),
        (5.0, 5.0),
        (-2.0, 0.0),
    ]
    values = [None, -40.0, 0.0, 5.0, 44.99, 250.1, 300.0, 321.7, 340.0, 900.0]
    cases = [[v, low, high] for v in values for low, high in windows]
    drawn = page.evaluate(
        """async ([address, cases]) => {
          const { place } = await import(address);
          return cases.map(([v, low, high]) => place(v, low, high));
        }""",
        [address, cases],
    )
    for (value, low, high), there in zip(cases, drawn, strict=True):
        here = gauge(value, low, high)
        assert (there["place"], there["offScale"]) == (here.place.value, here.off_scale)
        assert there["x"] == pytest.approx(here.x, abs=0.011)


@pytest.mark.parametrize("path", PAGES)
def test_the_first_view_is_small(path: str, opener: Opener, watch: Watch) -> None:
    watch.expect("404")
    page = opener(path)
    sizes = page.evaluate(
        "['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind))"
        ".filter(({ name }) => !name.includes('/api/') && !name.includes('/charts/'))"
        ".map((entry) => entry.decodedBodySize)"
    )
    assert len(sizes) == 3  # the page, its sheets, its scripts
    assert sum(sizes) <= LARGEST_FIRST_VIEW


def test_the_skip_link_is_first_and_leads_to_the_content(opener: Opener) -> None:
    page = opener("/")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the content")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.locator("#main")).to_be_focused()


def test_focus_is_visible_on_every_control(opener: Opener) -> None:
    page = opener("/stations/north/bay-1")
    seen = set()
    for _ in range(30):
        page.keyboard.press("Tab")
        outline = page.evaluate(
            "(() => { const e = document.activeElement; const s = getComputedStyle(e);"
            " return [e.tagName, s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
        )
        if outline[0] == "BODY":
            break
        seen.add(outline[0])
        assert outline[1] != "none"
        assert outline[2] >= 2
    assert {"A", "BUTTON", "INPUT", "SELECT"} <= seen


def test_targets_on_the_welder_s_page_are_large(opener: Opener) -> None:
    page = opener("/stations/north/bay-1", viewport=PHONE)
    controls = page.locator("main button:visible, main input:visible, main select:visible")
    assert controls.count() >= 5
    for i in range(controls.count()):
        box = controls.nth(i).bounding_box()
        assert box is not None
        assert box["height"] >= 44  # for gloves; WCAG 2.2 SC 2.5.8 (AA) asks for 24 px only


def test_cautions_stand_on_every_page(opener: Opener, watch: Watch) -> None:
    watch.expect("404")
    for path in PAGES:
        footer = opener(path).locator("footer")
        expect(footer).to_contain_text("never says that a gun is safe to touch")
        expect(footer).to_contain_text("fumes")
        expect(footer).to_contain_text("Local codes")


def test_times_are_the_site_s_with_utc_on_hover(opener: Opener) -> None:
    page = opener("/welds", timezone_id="Asia/Tokyo")
    time = page.locator("tbody time").first
    title = time.get_attribute("title")
    assert title is not None
    assert title.endswith(" UTC")
    # Lisbon is on UTC in winter and an hour ahead in summer: the browser's zone plays no part.
    text = time.inner_text()
    assert text[-5:] == title[-9:-4]


def test_static_files_are_kept_and_renamed_with_their_content(server: ShopServer) -> None:
    with httpx.Client(base_url=server.url) as client:
        page = client.get("/").text
        start = page.index("/static/")
        address = page[start : page.index('"', start)]
        answer = client.get(address)
        assert answer.status_code == 200
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        other = "/static/0000000000000000/" + address.split("/", 3)[3]
        assert client.get(other).status_code == 404
        assert client.get(address + "/../../../etc/passwd").status_code == 404


def test_an_unknown_token_is_refused_with_a_remedy(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("401")
    page = opener("/signin?next=/welds")
    page.get_by_label("Token").fill("not-a-token")
    page.get_by_role("button", name="Sign in with the token").click()
    expect(page.locator("#problem")).to_contain_text("not known here")
    expect(page.get_by_label("Token")).to_be_focused()
    page.get_by_label("Token").fill(server.token)
    page.keyboard.press("Enter")
    expect(page).to_have_url(server.url + "/welds")
    expect(page.get_by_text("Ana Reis")).to_be_visible()
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_url(server.url + "/")


@pytest.mark.parametrize("next_page", ["https://elsewhere.example/", "//elsewhere.example", "/\\x"])
def test_signing_in_never_leads_elsewhere(
    next_page: str, opener: Opener, server: ShopServer
) -> None:
    page = opener("/signin")
    page.goto(server.url + "/signin?next=" + next_page)
    page.get_by_label("Token").fill(server.token)
    page.keyboard.press("Enter")
    expect(page).to_have_url(server.url + "/")

"""The pages in German: chosen by hand or by the browser, complete, live, and fitting the screen."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import ViewportSize, expect

from browser_watch import PHONE, Opener, Watch, violations
from fakes_pages import ShopServer, now_us, open_shop_server
from steadybead_dashboards.catalogue import catalogue_text, translations
from steadybead_dashboards.phrasebook import SENTENCE
from steadybead_dashboards.po_file import read_po
from steadybead_domain.alarms.model import Priority
from steadybead_domain.times import MINUTE

pytestmark = pytest.mark.chromium
GERMAN = {"locale": "de-DE"}
PAGES = (
    "/",
    "/stations/north/bay-1",
    "/welds",
    "/welds/w-1001",
    "/welds/new",
    "/quality",
    "/procedures/pp-speed-nozzle",
    "/maintenance",
    "/sensors",
    "/reference-check?station=north/bay-1",
    "/alarms",
    "/alarms/alarm-1",
    "/alarm-quality",
    "/work-list",
    "/people",
    "/setup",
    "/signin",
    "/stations/north/nowhere",
)
WALL: ViewportSize = {"width": 1920, "height": 1080}
# Everything that a person sees lies inside the window, or in a box of its own that scrolls.
CUT = """() => {
  const width = document.documentElement.clientWidth;
  const boxes = ".sideways, .uplot, svg, template, .hidden-text, [hidden]";
  return [...document.querySelectorAll("body *")].filter((e) => {
    const { right, width: own, height } = e.getBoundingClientRect();
    return own && height && right > width + 1 && !e.closest(boxes);
  }).map((e) => `${e.tagName} ${e.className}: ${e.textContent.trim().slice(0, 40)}`);
}"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    """One shop for all of these tests."""
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        running.shop.add_weld("w-1002", now_us() - 3 * MINUTE, None)
        yield running


@pytest.mark.parametrize("path", PAGES)
def test_german_pages_are_accessible_and_nothing_is_cut(
    path: str, opener: Opener, watch: Watch
) -> None:
    watch.expect("404")
    options: dict[str, Any] = {"viewport": WALL, **GERMAN}
    page = opener(path, **options)
    expect(page.locator("html")).to_have_attribute("lang", "de")
    if page.locator("#link").count():
        expect(page.locator("#link")).to_have_text("Live")
    for size in (WALL, PHONE):
        page.set_viewport_size(size)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        assert page.evaluate(CUT) == []
    assert violations(page) == []


def test_no_german_page_is_wider_than_a_phone(opener: Opener, watch: Watch) -> None:
    """A phone widens its own window for what does not fit: the screen's width must stay."""
    watch.expect("404")
    page = opener("/", viewport=PHONE, is_mobile=True, has_touch=True, **GERMAN)
    start = page.url.rstrip("/")
    wide = {}
    for path in (*PAGES, "/?wall", "/account", "/procedures", "/sensors/north/bay-1/gun-a/nozzle"):
        page.goto(start + path)
        expect(page.locator("html")).to_have_attribute("lang", "de")
        found = page.evaluate("[innerWidth, document.documentElement.scrollWidth]")
        if max(found) > PHONE["width"] or page.evaluate(CUT):
            wide[path] = found
    assert wide == {}


def test_the_language_is_chosen_by_hand_and_kept(opener: Opener) -> None:
    page = opener("/alarms")
    expect(page.get_by_role("heading", level=1)).to_have_text("Alarms")
    page.get_by_role("button", name="Deutsch").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Alarme")
    assert page.url.endswith("/alarms")
    page.get_by_role("link", name="Halle", exact=True).click()
    expect(page.locator("html")).to_have_attribute("lang", "de")
    expect(page).to_have_title("Halle · Steadybead")
    page.get_by_role("button", name="English").click()
    expect(page).to_have_title("Floor · Steadybead")


def test_a_choice_from_another_site_is_refused(server: ShopServer, opener: Opener) -> None:
    page = opener("/")
    answer = page.request.post(
        f"{server.url}/language",
        form={"language": "de", "next": "/"},
        headers={"Origin": "https://elsewhere.example"},
    )
    assert answer.status == 403
    answer = page.request.post(
        f"{server.url}/language",
        form={"language": "xx", "next": "https://elsewhere.example/"},
        max_redirects=0,
    )
    assert (answer.status, answer.headers["location"]) == (303, "/")
    assert "set-cookie" not in answer.headers


def test_a_record_is_started_and_stopped_in_german(opener: Opener) -> None:
    page = opener("/stations/north/bay-1", viewport=PHONE, has_touch=True, **GERMAN)
    box = page.locator('.bench[data-gun="b"]')
    box.get_by_label("Auftrag").fill("T-2290")
    box.get_by_label("Naht", exact=True).fill("S3")
    box.get_by_label("Schweißer").fill("M. Duarte")
    box.get_by_role("button", name="Protokoll starten").tap()
    expect(box.get_by_text("Schweißprotokoll läuft")).to_be_visible()
    expect(box.locator('[data-part="state-word"]')).to_have_text("Schweißt")
    box.get_by_role("button", name="Protokoll stoppen").tap()
    expect(box.locator('[data-part="outcome"]')).to_contain_text("Schweißprotokoll gestoppt.")


def test_live_news_come_in_german(opener: Opener, server: ShopServer) -> None:
    page = opener("/", **GERMAN)
    expect(page.locator("#link")).to_have_text("Live")
    what = "gun a: too little air, 38.4 L/min, limit 45"
    server.shop.raise_alarm("alarm-9", "bay-1", what, Priority.HIGH)
    card = page.locator('[data-alarm="alarm-9"]')
    expect(card.locator(".what")).to_have_text("Gerät a: zu wenig Luft, 38,4 L/min, Grenze 45")
    expect(card.locator('[data-part="for-whom"]')).to_have_text("Schweißer")
    expect(card.locator('[data-part="priority"]')).to_have_text("Hoch")
    # An invented remedy: no template of ours, so it stays English and says so.
    expect(card.locator('[data-part="to-do"]')).to_have_attribute("lang", "en")
    flow = page.locator('[data-quantity="air_flow"] [data-part="value"]').first
    page.wait_for_function("e => /^\\d+,\\d$/.test(e.textContent)", arg=flow.element_handle())
    card.get_by_role("button", name="Quittieren").click()
    expect(card.locator('[data-part="by"]')).to_have_text("von demo visitor")
    server.shop.end_alarm("alarm-9")


def test_what_the_server_refuses_is_told_in_german(opener: Opener, watch: Watch) -> None:
    watch.expect("422")
    page = opener("/reference-check?station=north/bay-1", **GERMAN)
    page.get_by_label("Fühler, °C").fill("9999,5")
    page.locator("[name=nozzle]").fill("K3")
    page.get_by_role("button", name="Messung speichern").click()
    expect(page.locator("#problem-reference")).to_contain_text("9999,5 °C kann nicht sein: ")


def test_a_weld_is_judged_in_german(opener: Opener) -> None:
    page = opener("/welds/w-1001", **GERMAN)
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("Was dieses Protokoll nicht belegen kann")
    expect(verdict).to_contain_text("die Vorbereitung von Tafel und Zusatz")
    assert verdict.locator("[lang=en]").all_inner_texts() == []
    expect(page.locator("#trace")).to_have_attribute("data-loaded", "")


def sentences() -> list[str]:
    """Give a sentence of each template, and some in one another."""
    _, messages = read_po(catalogue_text("de"))
    filled = [m.msgid.replace("{", "").replace("}", "") for m in messages if m.context == SENTENCE]
    return [
        *filled,
        (
            "gun a: the thermocouple reads 5.2 °C high. Seen: flow reading +5.1 %, supply voltage"
            " -3.2 %."
        ),
        "Gun a: the thermocouple reads 5.2 °C low",
        "instrument K-7 (type K, class 1, 1.5 mm) is overdue for calibration, due 2026-12-01",
        (
            "the filter nears its limit: plan the change; drop 231 Pa at the usual flow; limit"
            " 250 Pa in 5.2 h of running (80 %: 3.1 h to 12 h)"
        ),
        "nozzle high-speed, 3 mm round rod, as at the newest reference check; the class is assumed",
        "unit of gun-a/flow: unknown unit 'cubic feet': write Pa, hPa, mbar, bar, mmH2O, inHg, psi",
        "unit of gun-a/flow: unit 'Pa' does not fit here: write L/min, L/h, mL/h, ml/s, ml/min",
        "not JSON: Input is a zero-length, empty document: line 1 column 1 (char 0)",
        "nobody ever said this; not at all, or so",
        "welder, maintenance",
    ]


def test_server_and_browser_say_the_same(opener: Opener, server: ShopServer) -> None:
    page = opener("/", **GERMAN)
    base = page.locator('link[href$="mark.svg"]').get_attribute("href") or ""
    said = page.evaluate(
        "async ([address, all]) => { const { said } = await import(address);"
        " return all.map((text) => said(text)); }",
        [server.url + base.replace("mark.svg", "phrases.js"), sentences()],
    )
    german = translations("de")
    assert said == [german.said(text) or text for text in sentences()]

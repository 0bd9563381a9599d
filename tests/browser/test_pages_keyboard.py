"""The main path of each role by the keyboard alone; the welder's start and stop have their own."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator, Page, expect

from browser_watch import Opener
from fakes_pages import ShopServer, open_shop_server
from steadybead_domain.alarms.model import Priority
from steadybead_domain.ids import StationId

pytestmark = pytest.mark.chromium
SEEN = """() => {
  const style = getComputedStyle(document.activeElement);
  return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
}"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        yield running


def tab_to(page: Page, wanted: Locator, most: int = 80) -> None:
    """Go on by Tab until the control has the focus, and see that it shows."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if wanted.evaluate("(e) => e === document.activeElement"):
            assert page.evaluate(SEEN)
            return
    pytest.fail(f"{wanted} is not reached by {most} tabs")


def test_the_manager_goes_from_the_floor_to_an_alarm_and_acknowledges(
    opener: Opener, server: ShopServer
) -> None:
    server.shop.raise_alarm("by-key", "bay-2", "air flow low", Priority.HIGH)
    page = opener("/")
    alarm = page.locator('[data-alarm="by-key"]')
    expect(alarm).to_be_visible()
    tab_to(page, page.get_by_role("link", name="Skip to the content"), 1)
    page.keyboard.press("Enter")
    tab_to(page, alarm.get_by_role("button", name="Acknowledge"))
    page.keyboard.press("Space")
    expect(alarm.locator('[data-part="by"]')).to_contain_text("by demo visitor")
    tab_to(page, page.locator(".tile").first.get_by_role("link").first)
    page.keyboard.press("Enter")
    expect(page).to_have_url(server.url + "/stations/north/bay-1")


def test_the_welder_says_how_the_bead_looks(opener: Opener) -> None:
    page = opener("/stations/north/bay-1")
    box = page.locator('.bench[data-gun="b"]')
    tab_to(page, box.get_by_label("Job"))
    page.keyboard.type("T-31")
    page.keyboard.press("Enter")
    expect(box.get_by_role("button", name="Stop the record")).to_be_focused()
    page.keyboard.press("Enter")
    expect(box.get_by_text("How does the bead look?")).to_be_visible()
    tab_to(page, box.get_by_role("button", name="Looks good"))
    page.keyboard.press("Enter")
    expect(box.locator('[data-part="outcome"]')).to_contain_text("Visual result kept.")


def test_maintenance_records_a_changed_filter(opener: Opener, server: ShopServer) -> None:
    page = opener("/maintenance")
    tab_to(page, page.get_by_role("button", name="Filter changed at Bay 1"))
    page.keyboard.press("Enter")
    expect(page.locator("#done-rows tr").first).to_contain_text("Bay 1")
    place = StationId("north", "bay-1")
    kept = server.shop.records.filter_changes.page(10, None, place).items
    assert [c.author for c in kept] == ["demo visitor"]


def test_quality_finds_a_weld_and_saves_its_evidence(opener: Opener) -> None:
    page = opener("/quality")
    expect(page.get_by_label("Job")).to_be_focused()
    page.keyboard.type("T-2281")
    page.keyboard.press("Tab")
    page.keyboard.type("S14")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("/welds\\?.*T-2281"))
    tab_to(page, page.locator('main a[href="/welds/w-1001"]').first)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    evidence = page.get_by_role("link", name="Evidence file")
    tab_to(page, evidence)
    expect(evidence).to_have_attribute("href", re.compile("/evidence$"))


def test_the_administrator_makes_a_person_and_a_token_and_withdraws_it(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/people")
    form = page.locator('[data-form="new"]')
    tab_to(page, form.locator('[name="name"]'))
    page.keyboard.type("Rui Costa")
    tab_to(page, form.locator('[name="pin"]'), 3)
    page.keyboard.type("4711")
    page.keyboard.press("Enter")
    expect(page.locator(".person-card", has_text="Rui Costa")).to_contain_text("PIN")
    tab_to(page, page.locator('[data-form="token"] [name="name"]'))
    page.keyboard.type("stock list")
    page.keyboard.press("Enter")
    told = page.locator("#new-token")
    expect(told).to_be_focused()
    secret = told.locator("code").inner_text()
    holder = server.shop.records.access.token_actor(secret)
    assert holder is not None
    assert (holder.name, holder.role.value) == ("stock list", "viewer")
    tab_to(page, told.get_by_role("button", name="I have it"), 2)
    page.keyboard.press("Enter")
    withdraw = page.get_by_role("button", name="Withdraw the token of stock list")
    tab_to(page, withdraw)
    page.keyboard.press("Enter")
    expect(withdraw).to_have_text("Sure? Tap once more.")
    page.keyboard.press("Enter")
    expect(withdraw).to_have_count(0)
    assert server.shop.records.access.token_actor(secret) is None

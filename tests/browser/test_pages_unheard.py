"""A channel of the plant file that never sends: every page says so and what to look at."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from browser_watch import PHONE, Opener, violations
from fakes_pages import Gun, ShopServer, open_shop_server
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import Fitness, GunState

pytestmark = pytest.mark.chromium
FLOW = ChannelId("north", "bay-1", "gun-b/flow")
YARD_FLOW = ChannelId("north", "yard", "gun-a/flow")
FLOW_PAGE = f"/sensors/{FLOW}"
WAITS_FOR = "Expected: name gun-b/flow on topic steadybead/v1/north/bay-1/senml"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path, unheard=frozenset({FLOW, YARD_FLOW})) as running:
        yield running


@pytest.mark.parametrize("path", ["/", "/stations/north/bay-1"])
def test_a_value_without_any_reading_says_so_until_one_comes(
    opener: Opener, server: ShopServer, path: str
) -> None:
    page = opener(path, viewport=PHONE)
    box = page.locator('[data-station="north/bay-1"] [data-gun="b"]')
    row = box.locator('.readout[data-channel="gun-b/flow"]')
    expect(row.locator('[data-part="value"]')).to_have_text("–")
    expect(row.get_by_role("link", name="nothing heard yet")).to_have_attribute("href", FLOW_PAGE)
    expect(box.locator('.readout[data-channel="gun-b/nozzle"]').get_by_role("link")).to_have_count(
        0
    )
    assert violations(page) == []
    server.shop.unheard = frozenset()
    expect(row.locator('[data-part="value"]')).to_contain_text("5")
    expect(row.get_by_role("link")).to_have_count(0)


def test_it_is_said_of_a_station_that_comes_while_the_page_is_open(
    opener: Opener, server: ShopServer
) -> None:
    page = opener("/")
    gun = page.locator('[data-station="north/yard"] [data-gun="a"]')
    flow = gun.locator('.readout[data-channel="gun-a/flow"]')
    expect(flow.locator('[data-part="note"]')).to_have_text("")
    server.shop.guns = {**server.shop.guns, ("yard", "a"): Gun(GunState.READY, 320.0, 50.0)}
    server.shop.fitness = {**server.shop.fitness, "yard": (Fitness.NOT_FIT, ("no flow reading",))}
    value = gun.locator('.readout[data-channel="gun-a/nozzle"] [data-part="value"]')
    expect(value).to_contain_text("3")
    expect(flow.locator('[data-part="note"]')).to_have_text("nothing heard yet")
    expect(flow.locator('[data-part="value"]')).to_have_text("–")


def test_set_up_and_the_sensor_s_page_name_topic_and_name(opener: Opener) -> None:
    page = opener("/setup", viewport=PHONE)
    row = page.locator(f'[data-fresh="{FLOW}"]')
    expect(row).to_contain_text("never heard")
    expect(row).to_contain_text(WAITS_FOR)
    row.get_by_role("link").click()
    told = page.get_by_role("note", name="Nothing was ever heard of this channel.")
    expect(told).to_contain_text(WAITS_FOR)
    expect(page.get_by_text("No reading ever came, so there is no value to judge.")).to_be_visible()
    assert violations(page) == []
    told.get_by_role("link", name="What was refused").click()
    expect(page.get_by_role("heading", name="What is refused")).to_be_in_viewport()


def test_the_list_of_sensors_and_maintenance_say_it(opener: Opener, server: ShopServer) -> None:
    page = opener("/sensors?station=north/bay-1")
    row = page.get_by_role("row", name="Air flow, gun b")
    expect(row.locator(".number").first).to_have_text("never heard")
    page.goto(server.url + "/maintenance")
    card = page.locator('.filter-card[data-station="north/bay-1"]')
    expect(card).to_contain_text("Nothing was ever heard of the pressure drop over this filter")
    expect(card.locator(".filter-facts")).to_contain_text("never heard")
    card.get_by_role("link", name="What to look at").click()
    told = page.get_by_role("note", name="Nothing was ever heard of this channel.")
    expect(told).to_contain_text("name blower/filter-drop on topic")

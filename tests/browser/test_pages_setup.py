"""The page of the integrator: what is heard and refused, a plant file checked; click and key."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ShopServer, now_us, open_shop_server
from plants_ingest import PLANT
from records_samples import refusal
from steadybead_domain.people import Actor, Role
from steadybead_domain.ports import Refused
from steadybead_domain.times import format_rfc3339

pytestmark = pytest.mark.chromium


def refused(payload: bytes, outcome: str, detail: str) -> Refused:
    """Make a refusal of just now."""
    return replace(refusal(payload, outcome=outcome), detail=detail, received=now_us())


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path_factory.mktemp("shop")) as running:
        yield running


@pytest.mark.parametrize("size", [PHONE, WIDE], ids=["phone", "wide"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_says_what_is_heard_and_what_is_refused(
    opener: Opener, server: ShopServer, size: dict[str, int], scheme: str
) -> None:
    nozle = refused(b'[{"n":"<b>"}]', "unknown_channel", "no channel 'gun-a/nozle'")
    server.shop.records.quarantine([nozle, refused(b"\xff\x00", "malformed", "not CBOR")])
    page = opener("/setup", viewport=size, color_scheme=scheme)
    expect(page.locator("#heard .sum")).to_have_text("10 of 17 channels heard")
    row = page.locator('[data-fresh="north/bay-1/gun-a/nozzle"]')
    expect(row).to_contain_text("heard")
    expect(row).to_contain_text("°C")
    yard = page.locator('[data-fresh="north/yard/gun-a/nozzle"]')
    expect(yard).to_contain_text("never heard")
    row = page.locator(".refusal", has_text="gun-a/nozle")
    expect(row).to_contain_text("The plant file knows no such channel.")
    expect(row).to_contain_text("Still coming")
    row.locator("summary").click()
    expect(row.locator("pre")).to_have_text('[{"n":"<b>"}]')
    expect(page.locator(".refusal pre", has_text="ff 00")).to_have_count(1)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert violations(page) == []


@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_a_lost_broker_is_named_with_since_when_and_what_to_look_at(
    opener: Opener, server: ShopServer, language: str
) -> None:
    board = server.shop.board
    page = opener("/setup", viewport=PHONE, locale=language)
    lost = page.locator("main .no-link")
    expect(lost).to_have_count(0)
    board.disconnected()
    board.address, board.refusal = "broker.shop:8883", "Not authorized"
    try:
        expect(lost).to_be_in_viewport(timeout=20_000)
        told = {"en-GB": "cannot be reached since", "de-DE": "nicht erreichbar seit"}[language]
        expect(lost.get_by_role("heading")).to_contain_text(told)
        assert board.unreachable_since is not None
        since = format_rfc3339(board.unreachable_since)
        expect(lost.locator("time")).to_have_attribute("datetime", since)
        for words in ("broker.shop:8883", "Not authorized", "[mqtt]"):
            expect(lost).to_contain_text(words)
        expect(lost.locator(".stale-shape")).to_be_visible()
        assert violations(page) == []
    finally:
        board.connected(now_us())
    expect(lost).to_have_count(0, timeout=20_000)


def test_a_server_out_of_reach_is_told_and_so_is_its_return(opener: Opener, watch: Watch) -> None:
    watch.expect("ERR_INTERNET_DISCONNECTED")
    page = opener("/setup", viewport=PHONE)
    banner = page.locator("#stale")
    expect(banner).to_be_hidden()
    page.context.set_offline(True)
    expect(banner).to_be_visible(timeout=20_000)
    expect(banner).to_contain_text("Connection lost. Values below are old, last heard ")
    assert violations(page) == []
    page.context.set_offline(False)
    expect(banner).to_be_hidden(timeout=20_000)


def test_it_keeps_itself_up_to_date(opener: Opener, server: ShopServer) -> None:
    page = opener("/setup")
    page.evaluate("window.sameView = true")
    row = page.locator('[data-fresh="north/bay-2/gun-a/nozzle"]')
    server.shop.guns["bay-2", "a"].temperature = 450.0
    expect(row).to_contain_text(re.compile(r"4[45]\d °C"), timeout=20_000)
    server.shop.records.quarantine([refused(b"new", "unit", "unit of the newcomer")])
    expect(page.locator(".refusal").first).to_contain_text("unit of the newcomer", timeout=20_000)
    assert page.evaluate("window.sameView") is True


def test_a_plant_file_is_checked_by_file_and_by_keyboard(
    opener: Opener, server: ShopServer, tmp_path: Path
) -> None:
    wrong = tmp_path / "plant.toml"
    wrong.write_text(PLANT.replace('type = "K"', 'type = "X"').replace('id = "bay-2"', 'id = ""'))
    page = opener("/setup")
    page.get_by_label("File, 256 KiB at most").set_input_files(wrong)
    expect(page.locator("#verdict")).to_contain_text("Not in order: ")
    first = page.locator("#problems li").first
    line = PLANT[: PLANT.index('type = "K"')].count("\n") + 1
    expect(first).to_contain_text(f"Line {line}")
    assert violations(page) == []
    first.get_by_role("button").focus()
    page.keyboard.press("Enter")
    marked = page.evaluate(
        "(() => { const t = document.querySelector('textarea');"
        " return t.value.slice(t.selectionStart, t.selectionEnd); })()"
    )
    assert 'type = "X"' in marked
    page.get_by_label("Text", exact=True).fill(PLANT)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_have_text("In order: 2 stations, 8 channels.")
    expect(page.locator("#problems")).to_be_hidden()
    expect(page.locator("#summary")).to_contain_text("bay-1: guns 1, channels 5")
    expect(page.locator("#summary")).to_contain_text("Not in it any more")
    assert server.services.plant().sha256 == ""  # what is in force stays in force


def test_a_file_that_is_too_large_is_not_even_sent(opener: Opener, tmp_path: Path) -> None:
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (256 * 1024 + 1))
    page = opener("/setup")
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url))
    page.get_by_label("File, 256 KiB at most").set_input_files(large)
    expect(page.locator("#verdict")).to_contain_text("larger than 256 KiB")
    assert [url for url in sent if "plant-file" in url] == []


@pytest.mark.parametrize(
    ("role", "sees"), [(Role.WELDER, False), (Role.QUALITY, False), (Role.MAINTENANCE, True)]
)
def test_only_those_who_set_up_are_led_there(
    opener: Opener,
    server: ShopServer,
    watch: Watch,
    role: Role,
    sees: bool,
) -> None:
    watch.expect("403")
    actor = Actor(f"somebody of {role}", role)
    access = server.services.records.access
    token = access.create_token(actor, actor, now_us(), "test")
    page = opener("/signin?next=/")
    page.get_by_label("Token").fill(token)
    page.keyboard.press("Enter")
    expect(page.locator(".person")).to_contain_text(actor.name)
    expect(page.get_by_role("link", name="Set-up")).to_have_count(1 if sees else 0)
    page.goto(server.url + "/setup")
    title = "Set-up" if sees else "Set-up is for maintenance and administrators"
    expect(page.get_by_role("heading", level=1)).to_have_text(title)

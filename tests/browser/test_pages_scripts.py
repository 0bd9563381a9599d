import pytest
from playwright.sync_api import Browser

from steadybead_dashboards.render import renderer

pytestmark = pytest.mark.chromium
PARSE = "(text) => { try { new Function(text); return ''; } catch (e) { return String(e); } }"


def test_every_joined_script_is_javascript(browser: Browser) -> None:
    assets = renderer().assets
    page = browser.new_page()
    names = sorted(name for name in assets.own if name.endswith(".js"))
    assert names
    for name in names:
        for joined in {(name,), tuple(dict.fromkeys((name, "outbox-list.js")))}:
            path = assets.joined(*joined).partition(assets.fingerprint + "/")[2]
            found = assets.find(assets.fingerprint, path)
            assert found is not None
            assert page.evaluate(PARSE, found.body.decode()) == "", joined
    page.close()

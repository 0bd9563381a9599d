"""What browser tests share: screen sizes, and a watch on what pages do behind the scenes."""

import os
import shutil
from collections.abc import Callable
from typing import Any

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import BrowserContext, Page, Request, ViewportSize

# The headless shell is the same engine without the windows' own pages, which on a machine of
# two cores are much of the work; STEADYBEAD_CHROMIUM names another one.
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PHONE: ViewportSize = {"width": 390, "height": 844}
WIDE: ViewportSize = {"width": 1920, "height": 1080}
# Rules of WCAG 2.0 to 2.2 at levels A and AA, as axe-core tags them.
RULES = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }
}
WATCH = """
window.refusedByPolicy = [];
document.addEventListener("securitypolicyviolation", (event) => {
  window.refusedByPolicy.push(`${event.violatedDirective} ${event.blockedURI}`);
});
"""

Opener = Callable[..., Page]


def found_chromium() -> str | None:
    """Find a Chromium on this machine."""
    named = os.environ.get("STEADYBEAD_CHROMIUM")
    return named or next((p for n in BROWSERS if (p := shutil.which(n)) is not None), None)


class Watch:
    """What pages must not do: log errors, call elsewhere, break the content policy."""

    def __init__(self, home: str) -> None:
        self.home = home
        self.faults: list[str] = []
        self.elsewhere: list[str] = []
        self.expected: tuple[str, ...] = ()

    def follow(self, context: BrowserContext) -> None:
        """Watch a context's pages."""
        context.add_init_script(WATCH)
        context.on("request", self._request)
        context.on("console", self._console)
        context.on("weberror", lambda error: self.faults.append(str(error.error)))

    def expect(self, *parts: str) -> None:
        """Allow console errors with these words: a test that cuts the network causes some."""
        self.expected = parts

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.home, "blob:", "data:")):
            self.elsewhere.append(request.url)

    def _console(self, message: Any) -> None:
        if message.type in {"error", "warning"}:
            self.faults.append(message.text)

    def check(self, contexts: list[BrowserContext]) -> None:
        """Fail on anything unexpected."""
        pages = [page for context in contexts for page in context.pages]
        refused = [r for p in pages for r in p.evaluate("window.refusedByPolicy ?? []")]
        left = [f for f in self.faults if not any(part in f for part in self.expected)]
        assert left == [], left
        assert self.elsewhere == [], self.elsewhere
        assert refused == [], refused


def violations(page: Page) -> list[tuple[str, list[str]]]:
    """Give what axe finds wrong: the rule, and the places."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found]

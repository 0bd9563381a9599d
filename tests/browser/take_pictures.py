"""Takes the README's pictures from a running demo: `python tests/browser/take_pictures.py`."""

import sys
import threading
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

from playwright.sync_api import Page, sync_playwright  # noqa: E402  the path comes first

from brokers_ingest import until  # noqa: E402
from whole_process import Server  # noqa: E402

PICTURES = HERE.parents[1] / "dashboards" / "pictures"
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
WIDE, PHONE = (1280, 720), (390, 844)
SETTLED_MS = 2500


def shoot(page: Page, server: Server, path: str, name: str) -> None:
    """Open a page, let its live values and charts come, keep what a person would see."""
    page.goto(server.address.rstrip("/") + path)
    page.wait_for_timeout(SETTLED_MS)
    page.screenshot(path=PICTURES / f"{name}.png")


def finished_weld(server: Server) -> str | None:
    """Find a record that is closed."""
    items = server.client.get("api/v1/welds").json()["items"]
    return next((w["id"] for w in items if w["stop"] and w["stop"] > w["start"]), None)


def first_alarm(server: Server) -> str:
    """Find the newest alarm of heat or air, whatever its state."""
    items = server.client.get("api/v1/alarms?state=all").json()["items"]
    of_guns = [a for a in items if a["gun"]]
    return str((of_guns or items)[0]["id"])


def alarms(server: Server) -> int:
    """Count the alarms that are not normal."""
    return len(server.client.get("api/v1/alarms").json()["items"])


def main() -> int:
    """Run the demo until there is something to see, and take the pictures."""
    PICTURES.mkdir(exist_ok=True)
    server = Server("demo", "--port", "0", "--no-browser")
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            sizes = {
                name: browser.new_page(
                    viewport={"width": size[0], "height": size[1]}, color_scheme="light"
                )
                for name, size in (("wide", WIDE), ("phone", PHONE))
            }
            until(lambda: alarms(server) > 0, 240.0)
            shoot(sizes["wide"], server, "/", "floor")
            shoot(sizes["phone"], server, "/stations/north/bay-1", "station-phone")
            until(lambda: finished_weld(server) is not None, 240.0)
            threading.Event().wait(20.0)
            shoot(sizes["wide"], server, f"/welds/{finished_weld(server)}", "weld")
            shoot(sizes["wide"], server, "/maintenance", "maintenance")
            shoot(sizes["wide"], server, f"/alarms/{first_alarm(server)}", "alarm")
            shoot(sizes["phone"], server, "/alarms", "alarms-phone")
            shoot(sizes["wide"], server, "/alarm-quality", "alarm-quality")
            shoot(sizes["wide"], server, "/work-list", "work-list")
            shoot(sizes["wide"], server, "/sensors", "sensors")
            browser.close()
    finally:
        server.kill()
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Takes the README's pictures from a running demo: `python tests/browser/take_pictures.py`.

Named pictures only: `python tests/browser/take_pictures.py weld quality`.
"""

import json
import sys
import threading
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

import paho.mqtt.client as paho  # noqa: E402  the path comes first
from paho.mqtt.enums import CallbackAPIVersion  # noqa: E402
from playwright.sync_api import Page, sync_playwright  # noqa: E402  the path comes first

from brokers_ingest import until  # noqa: E402
from browser_watch import ARGUMENTS, found_chromium  # noqa: E402
from whole_process import Server  # noqa: E402

PICTURES = HERE.parents[1] / "dashboards" / "pictures"
WIDE, TALL, PHONE, HALL = (1280, 720), (1280, 1010), (390, 844), (1920, 1080)
SIZES = {"wide": WIDE, "tall": TALL, "phone": PHONE, "hall": HALL, "dark": WIDE}
SETTLED_MS = 2500
WANTED = sys.argv[1:]


def shoot(page: Page, server: Server, path: str, name: str, part: str = "") -> None:
    """Open a page, let its live values and charts come, keep what a person would see.

    `part` is what to scroll to first.
    """
    if WANTED and name not in WANTED:
        return
    page.goto(server.address.rstrip("/") + path)
    page.wait_for_timeout(SETTLED_MS)
    if part:
        page.locator(part).evaluate("e => window.scrollTo(0, e.offsetTop - 8)")
    page.screenshot(path=PICTURES / f"{name}.png")


def disputed_weld(server: Server) -> str:
    """Find the seam that the demo's past holds."""
    items = server.client.get("api/v1/welds?job=4711&seam=12").json()["items"]
    return str(items[0]["id"])


def first_alarm(server: Server) -> str:
    """Find the newest alarm of heat or air, whatever its state."""
    items = server.client.get("api/v1/alarms?state=all").json()["items"]
    of_guns = [a for a in items if a["gun"]]
    return str((of_guns or items)[0]["id"])


def filter_told(server: Server) -> bool:
    """Tell whether maintenance was asked to change a filter."""
    items = server.client.get("api/v1/findings").json()["items"]
    return any(i["kind"].startswith("filter") for i in items)


def alarms(server: Server) -> int:
    """Count the alarms of guns that are not normal."""
    items = server.client.get("api/v1/alarms").json()["items"]
    return sum(a["gun"] is not None for a in items)


def send_wrong(server: Server) -> None:
    """Let a sender make the mistakes that integrators make, for the set-up page."""
    assert server.process.stdout is not None
    url = server.process.stdout.readline().split()[-1]  # its second line names the broker
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", int(url.rpartition(":")[2]))
    client.loop_start()
    for station, name, unit in (
        ("bay-1", "gun-a/nozle", "Cel"),
        ("bay-2", "gun-a/flow", "kg"),
        ("bay-7", "gun-a/nozzle", "Cel"),
    ):
        payload = json.dumps([{"n": name, "u": unit, "v": 312.5}])
        topic = f"steadybead/v1/north/{station}/senml"
        client.publish(topic, payload, qos=1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def make_people(page: Page, server: Server) -> None:
    """Enter some people as the administrator does."""
    for name, role in (
        ("Rui Costa", "welder"),
        ("Marta Dias", "maintenance"),
        ("Inês Sá", "quality"),
    ):
        page.goto(server.address.rstrip("/") + "/people")
        form = page.locator('[data-form="new"]')
        form.locator('[name="name"]').fill(name)
        form.locator('[name="role"]').select_option(role)
        form.locator('[name="password"]').fill("four words in a row")
        form.get_by_role("button").click()
        page.locator(".person-card", has_text=name).wait_for()


def without_network(page: Page, server: Server) -> None:
    """Show a welder's phone whose network is gone, with an entry that waits."""
    if WANTED and "station-offline" not in WANTED:
        return
    page.goto(server.address.rstrip("/") + "/stations/north/bay-3")
    page.wait_for_timeout(SETTLED_MS)
    page.context.set_offline(True)
    page.get_by_label("Job").fill("4720")
    page.get_by_label("Seam").fill("3")
    page.get_by_role("button", name="Start the record").click()
    page.wait_for_timeout(SETTLED_MS)
    page.evaluate("window.scrollTo(0, 0)")
    page.screenshot(path=PICTURES / "station-offline.png")
    page.context.set_offline(False)


def main() -> int:
    """Run the demo until there is something to see, and take the pictures."""
    PICTURES.mkdir(exist_ok=True)
    server = Server("demo", "--port", "0", "--no-browser")
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=found_chromium(), args=ARGUMENTS)
            sizes = {
                name: browser.new_page(
                    viewport={"width": size[0], "height": size[1]},
                    color_scheme="dark" if name == "dark" else "light",
                )
                for name, size in SIZES.items()
            }
            send_wrong(server)
            until(lambda: alarms(server) > 0, 240.0)
            shoot(sizes["wide"], server, "/", "floor")
            shoot(sizes["phone"], server, "/stations/north/bay-1", "station-phone")
            threading.Event().wait(20.0)
            weld = f"/welds/{disputed_weld(server)}"
            shoot(sizes["tall"], server, weld, "weld", "#verdict")
            shoot(sizes["wide"], server, weld, "trace", "#trace")
            shoot(sizes["wide"], server, "/quality", "quality")
            shoot(sizes["wide"], server, "/procedures/pp-speed-nozzle", "procedure")
            shoot(sizes["hall"], server, "/?wall", "wall")
            shoot(sizes["wide"], server, f"/alarms/{first_alarm(server)}", "alarm")
            shoot(sizes["phone"], server, "/alarms", "alarms-phone")
            shoot(sizes["wide"], server, "/alarm-quality", "alarm-quality")
            shoot(sizes["wide"], server, "/work-list", "work-list")
            shoot(sizes["wide"], server, "/sensors", "sensors")
            shoot(sizes["dark"], server, "/", "floor-dark")
            shoot(sizes["wide"], server, "/setup", "setup", "#refused")
            if not WANTED or "people" in WANTED:
                make_people(sizes["wide"], server)
            shoot(sizes["wide"], server, "/people", "people")
            without_network(sizes["phone"], server)
            until(lambda: filter_told(server), 400.0)
            shoot(sizes["wide"], server, "/maintenance", "maintenance")
            browser.close()
    finally:
        server.kill()
    return 0


if __name__ == "__main__":
    sys.exit(main())

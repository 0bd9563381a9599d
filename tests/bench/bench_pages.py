"""The pages in a real browser: how large and how soon, how fresh, and what a wall costs in a day.

The first view is counted from the click to the later of the first paint and the end of loading,
each time in a browser that has nothing of it yet: all pages in the headless shell, where it is
installed, and the heavy ones also in the whole browser, whose windows draw pages of their own
beside ours. The size is that of the document and of all
files of ours, unpacked; the chart library and figures for charts are not in it. "Shown" counts
from the time that a reading carries to its digits on the page, over broker, collector and stream.
"""

import json
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import Browser, Page, sync_playwright

from bench.page_wall import FAST, heard_once, held, let_live
from browser_watch import ARGUMENTS, WIDE, found_chromium
from fakes_pages import PLANT, Gun, ShopServer, open_shop_server, station
from steadybead_domain.live import Fitness, GunState
from steadybead_domain.plant import Plant
from whole_process import Server, write_plant

PATHS = (
    "/",
    "/?wall",
    "/stations/north/bay-1",
    "/welds",
    "/welds/w-1001",
    "/quality",
    "/maintenance",
    "/work-list",
    "/sensors",
    "/alarms",
    "/alarm-quality",
    "/procedures",
    "/setup",
    "/people",
    "/signin",
)
HEAVY = ("/", "/stations/north/bay-1", "/welds/w-1001")
WHOLE_BROWSER = "chromium"
MANY = 50
GOAL_MS = 1000.0
GOAL_KB = 300.0
SIZE = """() => [
  ...performance.getEntriesByType("navigation"),
  ...performance.getEntriesByType("resource").filter(
    ({ name }) => name.includes("/static/") && !name.includes("/charts/")),
].reduce((sum, entry) => sum + entry.decodedBodySize, 0)"""
SOON = """() => Math.max(
  performance.getEntriesByType("navigation")[0].loadEventEnd,
  ...performance.getEntriesByType("paint").map((entry) => entry.startTime))"""
SHOWN = """(place) => {
  const element = document.querySelector(place);
  window.shown = [];
  new MutationObserver(() => window.shown.push([element.textContent, Date.now()]))
    .observe(element, { childList: true, characterData: true, subtree: true });
}"""


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs chromium."""
    times = 1 if short else 5
    found = first_views(times, PATHS[:2] if short else PATHS, found_chromium(), "")
    if not short and (whole := shutil.which(WHOLE_BROWSER)):
        found += first_views(times, HEAVY, whole, ", whole browser")
    found += freshness(3 if short else 40)
    found += wall(0.1, 0.2) if short else wall(4, 24)
    return [row | {"goal": None, "met": None} for row in found] if short else found


@contextmanager
def chromium(path: str | None) -> Iterator[Browser]:
    """Open a browser."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


def many_stations() -> Plant:
    """Make a plant of fifty stations with one gun each."""
    names = [s.id.station for s in PLANT.stations]
    more = [station(f"bay-{i}", f"Bay {i}", "a") for i in range(5, MANY) if f"bay-{i}" not in names]
    return replace(PLANT, stations=(*PLANT.stations, *more)[:MANY])


@contextmanager
def shop(plant: Plant) -> Iterator[ShopServer]:
    """Serve a shop, every station of it heard."""
    with (
        tempfile.TemporaryDirectory(prefix="bench-pages-") as folder,
        open_shop_server(Path(folder), plant=plant) as server,
    ):
        server.shop.hides_records = True  # no question for each gun at each step
        for each in plant.stations:
            name = each.id.station
            server.shop.guns.setdefault((name, "a"), Gun(GunState.READY, 320.0, 50.0))
            server.shop.fitness.setdefault(name, (Fitness.FIT, ()))
        newest = plant.stations[-1].id
        while server.services.live.snapshot(server.services.clock()).station(newest) is None:
            time.sleep(0.05)
        yield server


def first_views(
    times: int, paths: tuple[str, ...], browser: str | None, where: str
) -> list[dict[str, Any]]:
    """Measure each page, and floor and set-up again with fifty stations; the largest size last."""
    found, sizes = [], {}
    many = f", {MANY} stations"
    with chromium(browser) as running:
        for plant, more, asked in ((PLANT, "", paths), (many_stations(), many, ("/", "/setup"))):
            with shop(plant) as server:
                for path in asked:
                    took, size = _view(running, server.url, path, times)
                    name = f"{path}{more}"
                    found.append(figure(f"pages: {name}, first view{where}", took, "ms", GOAL_MS))
                    sizes[name] = size / 1000
    largest = max(sizes, key=lambda name: sizes[name])
    if not where:
        found.append(figure(f"pages: largest size, {largest}", sizes[largest], "kB", GOAL_KB))
    return found


def _view(browser: Browser, url: str, path: str, times: int) -> tuple[float, float]:
    """Open a page some times; give the median in ms and the size in bytes."""
    took, size = [], 0.0
    for _ in range(times):
        context = browser.new_context(viewport=WIDE)
        page = context.new_page()
        page.goto(url + path, wait_until="load")
        while not page.evaluate("performance.getEntriesByType('paint').length"):
            page.wait_for_timeout(20)
        took.append(float(page.evaluate(SOON)))
        size = max(size, float(page.evaluate(SIZE)))
        context.close()
    return float(np.median(took)), size


def freshness(readings: int) -> list[dict[str, Any]]:
    """Send readings to a whole process; tell how long it takes until the page shows them."""
    with tempfile.TemporaryDirectory(prefix="bench-pages-") as folder:
        config = write_plant(Path(folder), None)
        server = Server("run", "--config", str(config), "--data", folder, "--port", "0")
        try:
            while not server.ready():
                time.sleep(0.1)
            url = (Path(folder) / "broker" / "url").read_text("utf-8")
            client = paho.Client(CallbackAPIVersion.VERSION2)
            client.connect("127.0.0.1", int(url.rpartition(":")[2]))
            client.loop_start()
            with chromium(found_chromium()) as browser:
                took = _shown(browser.new_page(viewport=WIDE), server.address, client, readings)
            client.disconnect()
            client.loop_stop()
        finally:
            server.kill()
    return [
        figure("pages: from a reading to its digits, median", float(np.median(took)), "ms"),
        figure("pages: from a reading to its digits, longest", max(took), "ms", GOAL_MS),
    ]


def _shown(page: Page, address: str, client: paho.Client, readings: int) -> list[float]:
    topic = "steadybead/v1/north/bay-1/senml"
    page.goto(f"{address.rstrip('/')}/stations/north/bay-1")
    page.evaluate(SHOWN, '[data-channel="gun-a/flow"] [data-part="value"]')
    sent: dict[str, float] = {}
    for step in range(readings):
        now = time.time()
        sent[f"{40 + step / 2:.1f}"] = 1e3 * now
        flow = {"bt": round(now, 4), "n": "gun-a/flow", "u": "mA", "v": 4 + 0.16 * (40 + step / 2)}
        client.publish(topic, json.dumps([flow]), qos=1).wait_for_publish(10)
        page.wait_for_timeout(500)
    page.wait_for_timeout(2000)
    seen: dict[str, float] = {}
    for text, at in page.evaluate("window.shown"):
        seen.setdefault(text, at)
    return [seen[text] - at if text in seen else 1e6 for text, at in sent.items()]


def wall(settled: float, hours: float) -> list[dict[str, Any]]:
    """Leave a wall of fifty stations open; compare what it holds after some hours and at last.

    It has settled once the stream has broken off and begun anew, after two hours here.
    """
    with shop(many_stations()) as server, chromium(found_chromium()) as browser:
        page = browser.new_page(viewport=WIDE)
        scene = {**heard_once(server.url), "each": 10}
        page.add_init_script(FAST)
        page.goto(f"{server.url}/?wall")
        server.shop.sending = False  # from here on the page's own stream is what it hears
        session = page.context.new_cdp_session(page)
        session.send("HeapProfiler.enable")
        session.send("Performance.enable")
        settled_s, lasting_s = round(settled * 3600), round((hours - settled) * 3600)
        let_live(page, scene, 0, settled_s)
        first = held(session)
        let_live(page, scene, settled_s, lasting_s)
        last = held(session)
        drawn = page.locator(".tile").count()
    heap = last["JSHeapUsedSize"] / first["JSHeapUsedSize"]
    return [
        figure("pages: wall, stations drawn", drawn, ""),
        figure(f"pages: wall, JS heap after {settled} h", first["JSHeapUsedSize"] / 1e6, "MB"),
        figure(f"pages: wall, JS heap after {hours} h", last["JSHeapUsedSize"] / 1e6, "MB"),
        figure(f"pages: wall, heap after {hours} h over {settled} h", heap, "", 1.05),
        figure(f"pages: wall, DOM nodes after {settled} h", first["Nodes"], ""),
        figure(
            f"pages: wall, DOM nodes grown after {hours} h", last["Nodes"] - first["Nodes"], "", 0
        ),
        figure(
            f"pages: wall, listeners grown after {hours} h",
            last["JSEventListeners"] - first["JSEventListeners"],
            "",
            0,
        ),
    ]


def figure(name: str, value: float, unit: str, most: float | None = None) -> dict[str, Any]:
    """Make one line of the report."""
    met = None if most is None else value <= most
    return {"name": name, "value": value, "unit": unit, "goal": most, "met": met}

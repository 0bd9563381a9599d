"""The demo: broker, simulated shop, collector and pages in one process."""

import contextlib
import dataclasses
import signal
import sys
import tempfile
import threading
import webbrowser
from importlib.resources import as_file, files
from pathlib import Path
from types import FrameType

from steadybead_api.compose import bound_socket, serve_until_stopped
from steadybead_api.demo_filters import FilterNews
from steadybead_api.demo_instruments import furnish
from steadybead_api.demo_past import FIRST_SEAM, JOB, replay_past
from steadybead_api.demo_records import furnish_records
from steadybead_api.shop import open_shop
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_simulator.run import run_simulator, start_in_background
from steadybead_simulator.scenario_file import read_scenario

SEED = 1


def run_demo(port: int, data: Path | None, *, browser: bool) -> int:
    """Run the simulated shop until stopped; without `data`, in a folder that goes afterwards."""
    taken = bound_socket("127.0.0.1", port)
    with contextlib.ExitStack() as stack:
        folder = stack.enter_context(as_file(files("steadybead_simulator") / "demo"))
        data_dir = data or Path(
            stack.enter_context(tempfile.TemporaryDirectory(prefix="steadybead-demo-"))
        )
        plant_file = on_a_free_port(load_plant_file(folder / "plant.toml"))
        replay_past(plant_file, data_dir, folder, SEED, wall_clock)
        mqtt, services = stack.enter_context(
            open_shop(plant_file, data_dir, collect=True, serve=True, demo=True)
        )
        if services is None:
            return 1
        furnish(services)
        furnish_records(services)
        scenario = read_scenario(folder / "scenario.toml", plant_file.plant)
        shop = start_in_background(mqtt.url or "", plant_file.plant, scenario, SEED)
        stack.callback(shop.stop)
        news = FilterNews(services.records, shop.upkeep.filter_cleaned, wall_clock)
        stack.callback(news.stop)
        news.start()
        serve_until_stopped(
            services, taken, lambda address: _welcome(address, mqtt.url or "", browser=browser)
        )
    return 0


def on_a_free_port(plant_file: PlantFile) -> PlantFile:
    """Let the embedded broker of the demo take any free port: another may hold the usual one."""
    mqtt = dataclasses.replace(plant_file.mqtt, listen="127.0.0.1:0")
    return dataclasses.replace(plant_file, mqtt=mqtt)


def _welcome(address: str, broker: str, *, browser: bool) -> None:
    sys.stdout.write(
        f"A simulated shop is live at {address}\nIts broker listens at {broker}\n"
        f"Half an hour ago a seam was laid that is disputed: job {JOB}, seam {FIRST_SEAM}.\n"
        "Stop it with Ctrl-C.\n"
    )
    sys.stdout.flush()
    if browser:
        with contextlib.suppress(webbrowser.Error):
            webbrowser.open(address)


def run_simulation(
    config: Path, scenario: Path, mqtt_url: str, seed: int, speed: float, truth: Path | None
) -> int:
    """Send the simulated shop to a broker until it ends or is stopped."""
    stop = threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    return run_simulator(config, scenario, mqtt_url, seed=seed, speed=speed, truth=truth, stop=stop)

"""From `steadybead demo` to the first reading that a page can show."""

from typing import Any

import numpy as np

from bench.bench_line import wait
from bench.store_support import figure, timed
from whole_process import Server

GOAL_S = 5.0


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; the best of some starts."""
    best_s = min(first_reading_s() for _ in range(1 if short else 3))
    row = figure("demo: from the command to the first reading", best_s, "s", GOAL_S)
    return [row | {"goal": None, "met": None} if short else row]


def first_reading_s() -> float:
    """Time one start, the interpreter's own with it."""
    began = np.datetime64("now", "us")
    running: list[Server] = []

    def start() -> None:
        running.append(Server("demo", "--port", "0", "--no-browser"))
        wait(lambda: has_reading(running[0], began), look_s=0.02)

    try:
        return timed(start)
    finally:
        for server in running:
            server.kill()


def has_reading(server: Server, since: np.datetime64) -> bool:
    """Tell whether a station shows a value that is newer than the start."""
    stations = server.client.get("api/v1/stations").raise_for_status().json()["items"]
    values = [value for item in stations for value in item["values"]]
    return any(np.datetime64(value["time"].removesuffix("Z"), "us") > since for value in values)

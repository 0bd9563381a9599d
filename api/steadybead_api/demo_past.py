"""The weld that somebody asks about: the demo's shop half an hour ago, sent as a late backlog."""

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from steadybead_api.services import Services
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.plant import Plant
from steadybead_domain.times import MINUTE
from steadybead_simulator.broker import Fleet
from steadybead_simulator.messages import Message
from steadybead_simulator.run import simulate
from steadybead_simulator.scenario_file import read_scenario

AGO: Final = 30 * MINUTE
JOB: Final = "4711"
FIRST_SEAM: Final = 12
_LOG: Final[dict[str, Any]] = {
    "drawing": "T-4711, sheet 3, position 12",
    "seam_kind": "double V",
    "seam_length_mm": 480,
    "beads": 1,
    "sheet": "PP-H, grey",
    "sheet_batch": "S-20931",
    "thickness_mm": 8,
    "rod": "PP-H, round 3 mm",
    "rod_batch": "R-5527",
    "rod_check": "compatible",
    "qualification": "sub-group I-3",
    "ambient_temperature_c": 19,
    "weather": "indoors",
    "protection": "none",
    "trial": "passed",
}


class _Told:
    """Passes messages on; the station's weld messages are given the job and its log."""

    def __init__(self, publish: Callable[[Message], None]) -> None:
        self._publish = publish

    def publish(self, message: Message) -> None:
        """Pass a message on."""
        if message.topic.endswith("/weld"):
            message = replace(message, payload=_named(message.payload))
        self._publish(message)


def is_past_missing(services: Services) -> bool:
    """Tell whether the weld is not on record yet: a demo may go on in a kept folder."""
    search = WeldSearch(job=JOB, seam=str(FIRST_SEAM))
    return not services.records.welds.page(search, 1).items


def send_past(url: str, plant: Plant, folder: Path, seed: int, now: int) -> None:
    """Send what the first station of the demo measured and told half an hour ago."""
    stop = threading.Event()
    first = replace(plant, stations=plant.stations[:1])
    past = replace(read_scenario(folder / "past.toml", first), start_us=now - AGO)
    with Fleet(url, first, stop) as fleet:
        told = _Told(fleet.publish)
        simulate(first, past, told, seed=seed, speed=float("inf"), stop=stop)


def _named(payload: bytes) -> bytes:
    members: dict[str, Any] = json.loads(payload)
    if members["event"] != "start":
        return payload
    number = FIRST_SEAM - 1 + int(members["seam"].removeprefix("s"))
    if members["gun"] != "a":
        return json.dumps({**members, "job": JOB, "seam": f"{number}, other side"}).encode()
    return json.dumps({**members, "job": JOB, "seam": str(number), **_LOG}).encode()

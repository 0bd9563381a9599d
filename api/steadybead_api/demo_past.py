"""The demo's shop half an hour ago: the weld that somebody asks about, a filter come to its limit.

It goes through the collector's own pipeline on the time of its readings, before the collector of
this run listens, so that it is judged as it would have been then.
"""

import json
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from steadybead_api.plant_stores import open_plant_readings, open_plant_records
from steadybead_collector.config import PlantFile
from steadybead_collector.locking import lock_folder
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.records.store import Records
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmState
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Plant
from steadybead_domain.times import MINUTE, SECOND
from steadybead_simulator.messages import Message as Sent
from steadybead_simulator.run import simulate
from steadybead_simulator.scenario_file import read_scenario

AGO: Final = 30 * MINUTE
AT_ONCE: Final = 5 * MINUTE
STATIONS: Final = 2
WELDER: Final = Actor("w-40", Role.WELDER)
SEEN_AFTER: Final = 40 * SECOND
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


class _Inlet:
    """Takes what the past's shop sends, in the order of its times, and feeds it in a few parts.

    Weld messages of the first station are given the job and its log.
    """

    def __init__(self, pipeline: Pipeline, first: str) -> None:
        self._pipeline, self._first = pipeline, first
        self._waiting: list[Message] = []
        self._received = 0

    def publish(self, message: Sent) -> None:
        """Take one message."""
        payload = message.payload
        if message.station == self._first and message.topic.endswith("/weld"):
            payload = _named(payload)
        self._received = max(message.at, self._received + 1)
        if self._waiting and self._received - self._waiting[0].received >= AT_ONCE:
            self.flush()
        self._waiting.append(Message(message.topic, payload, self._received))

    def flush(self) -> None:
        """Have what waits stored and judged, up to the newest of it."""
        if self._waiting:
            self._pipeline.feed(self._waiting)
            self._pipeline.tick(self._received)
            self._waiting = []

    def power_down(self, topics: Sequence[str]) -> int:
        """Say that the stations were switched off, as their Last Will would; give when."""
        self._received += SECOND
        self._waiting += [Message(t, b"0", self._received + i) for i, t in enumerate(topics)]
        self._received += SECOND
        self.flush()
        return self._received


def replay_past(
    plant_file: PlantFile, data_dir: Path, folder: Path, seed: int, clock: Callable[[], int]
) -> None:
    """Store and judge what the demo's first stations sent half an hour ago, unless it was done.

    Raises StoreError, and PlainError where another process has the folder.
    """
    data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    with ExitStack() as stack:
        stack.enter_context(lock_folder(data_dir))
        records = open_plant_records(plant_file, data_dir)
        stack.callback(records.close)
        if not _is_missing(records):
            return
        readings = open_plant_readings(plant_file, data_dir, records)
        stack.callback(readings.close)
        start = clock() - AGO
        plant = records.accept_plant(plant_file.text, plant_file.plant, start - MINUTE)
        part = replace(plant, stations=plant.stations[:STATIONS])
        root = plant_file.mqtt.root
        pipeline = Pipeline(part, root, readings, records, lambda _topic, _payload: True)
        pipeline.open()
        end = _send(pipeline, part, root, folder, seed, start)
        _acknowledge(records, end)
        pipeline.close(end)


def _is_missing(records: Records) -> bool:
    """Tell whether the weld is not on record yet: a demo may go on in a kept folder."""
    return not records.welds.page(WeldSearch(job=JOB, seam=str(FIRST_SEAM)), 1).items


def _send(pipeline: Pipeline, plant: Plant, root: str, folder: Path, seed: int, start: int) -> int:
    """Let the shop of the past run; give the time at which it was switched off."""
    past = replace(read_scenario(folder / "past.toml", plant), start_us=start)
    inlet = _Inlet(pipeline, plant.stations[0].id.station)
    simulate(plant, past, inlet, seed=seed, speed=float("inf"))
    inlet.flush()
    return inlet.power_down([f"{root}/{s.id}/online" for s in plant.stations])


def _acknowledge(records: Records, now: int) -> None:
    """Let the welder of then have seen the alarms whose conditions are over."""
    for occurrence in records.alarms.page(100).items:
        alarm = alarm_state(occurrence.facts, occurrence.acts, now)
        if alarm.state is AlarmState.RETURNED:
            seen = alarm.last_raised or alarm.raised.time
            at = min(seen + SEEN_AFTER, now)
            act = AlarmAct(alarm.raised.alarm, ActKind.ACKNOWLEDGE, at, WELDER.name, of_raise=seen)
            records.alarms.act(act, WELDER, "demo")


def _named(payload: bytes) -> bytes:
    members: dict[str, Any] = json.loads(payload)
    if members["event"] != "start":
        return payload
    number = FIRST_SEAM - 1 + int(members["seam"].removeprefix("s"))
    if members["gun"] != "a":
        return json.dumps({**members, "job": JOB, "seam": f"{number}, other side"}).encode()
    return json.dumps({**members, "job": JOB, "seam": str(number), **_LOG}).encode()

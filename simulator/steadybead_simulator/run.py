"""The shop on MQTT: paced to the clock, or as fast as the broker takes it."""

import logging
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from steadybead_domain.plant import Plant
from steadybead_domain.times import SECOND
from steadybead_simulator.ahead import Ahead
from steadybead_simulator.broker import BadUrlError, BrokerError, Fleet
from steadybead_simulator.messages import Message, Step, messages
from steadybead_simulator.places import FileError
from steadybead_simulator.plantfile import read_plant
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.scenario_file import read_scenario
from steadybead_simulator.shop import Shop
from steadybead_simulator.truth import TruthFile
from steadybead_simulator.upkeep import Upkeep

LOG = logging.getLogger(__name__)
FAST_DURATION_S = 8 * 3600.0
LEAD_S = 0.015  # a station takes about so long to get ready


class Publisher(Protocol):
    """Where messages go."""

    def publish(self, message: Message) -> None:
        """Take one message; may wait while too much is on its way."""


def simulate(
    plant: Plant,
    scenario: Scenario,
    publisher: Publisher,
    *,
    seed: int,
    speed: float = 1.0,
    stop: threading.Event | None = None,
    truth: TruthFile | None = None,
    clock: Callable[[], float] = time.time,
    upkeep: Upkeep | None = None,
) -> int:
    """Publish the shop until its duration is over or `stop` is set; give the messages' number.

    `speed`: shop seconds a second, inf for as fast as it goes. Without a start in the scenario,
    a run at speed 1 starts now; a faster one starts so early that it ends now. `upkeep`: work on
    filters that the run takes up at once; for that it is made again from its start with the same
    seed, and what was sent already is left out.
    """
    stop = stop or threading.Event()
    begun = clock()
    duration = scenario.duration_s
    if duration is None and speed != 1.0:
        duration = FAST_DURATION_S
    start_us = scenario.start_us
    if start_us is None:
        back = 0.0 if speed == 1.0 or duration is None else duration
        begun += LEAD_S * len(plant.stations) if back == 0.0 else 0.0
        start_us = round((begun - back) * 1000) * 1000
    upkeep = upkeep or Upkeep()
    pace = _Pace(begun, start_us, speed, clock, stop, upkeep)
    count = 0
    while True:
        sent = _send(Shop(plant, scenario, seed, start_us), duration, count, publisher, truth, pace)
        count += sent
        if stop.is_set() or not upkeep.waits:
            return count
        scenario = upkeep.brought_into(scenario, start_us)


@dataclass(frozen=True, slots=True)
class _Pace:
    """Tells when a message is due, and what ends the wait for it."""

    begun: float
    start_us: int
    speed: float
    clock: Callable[[], float]
    stop: threading.Event
    upkeep: Upkeep

    def wait_for(self, at_us: int) -> bool:
        """Wait until a message is due; False if this shop is to send no more."""
        due = self.begun + (at_us - self.start_us) / SECOND / self.speed
        while (left := due - self.clock()) > 0.002:
            if self.upkeep.waits or self.stop.wait(min(left, 0.5)):
                return False
        return not (self.stop.is_set() or self.upkeep.waits)


def _send(
    shop: Shop,
    duration_s: float | None,
    already: int,
    publisher: Publisher,
    truth: TruthFile | None,
    pace: _Pace,
) -> int:
    """Publish all but the first `already` messages, until the end or a change; give how many."""
    end_s = float("inf") if duration_s is None else duration_s
    steps = _until(messages(shop, end_s), shop.us(min(end_s, 1e10)))
    count = 0
    with Ahead(_after(steps, already), pace.stop) as ahead:
        for step in ahead:
            for message in step.messages:
                if not pace.wait_for(message.at):
                    return count
                publisher.publish(message)
                count += 1
            if truth is not None:
                truth.add(step.truth)
    return count


def _after(steps: Iterator[Step], already: int) -> Iterator[Step]:
    """Leave out so many messages; what is left of the step in which they end comes first."""
    for step in steps:
        passed = min(already, len(step.messages))
        already -= passed
        if passed == 0 or passed < len(step.messages):
            yield replace(step, messages=step.messages[passed:])


def _check_speed(speed: float) -> None:
    if not speed > 0.0:
        raise FileError("--speed is a number above 0")


def _until(steps: Iterator[Step], end_us: int) -> Iterator[Step]:
    for step in steps:
        if step.messages and step.messages[0].at >= end_us:
            return
        yield step


class Background:
    """A run in a thread; `stop` ends it and waits. Tell `upkeep` of work on filters."""

    def __init__(
        self, mqtt_url: str, plant: Plant, scenario: Scenario, seed: int, speed: float
    ) -> None:
        self._stop = threading.Event()
        self.upkeep = Upkeep()
        self.error: Exception | None = None
        arguments = (mqtt_url, plant, scenario, seed, speed)
        self._thread = threading.Thread(
            target=self._run, args=arguments, name="simulator", daemon=True
        )
        self._thread.start()

    def _run(
        self, mqtt_url: str, plant: Plant, scenario: Scenario, seed: int, speed: float
    ) -> None:
        try:
            with Fleet(mqtt_url, plant, self._stop) as fleet:
                simulate(
                    plant, scenario, fleet, seed=seed, speed=speed, stop=self._stop,
                    upkeep=self.upkeep,
                )  # fmt: skip
        except Exception as error:  # a thread has nobody to tell
            self.error = error
            LOG.exception("the simulated shop stopped")

    @property
    def running(self) -> bool:
        """Tell whether it still runs."""
        return self._thread.is_alive()

    def stop(self, timeout_s: float = 4.0) -> None:
        """Stop and wait; idempotent."""
        self._stop.set()
        self._thread.join(timeout_s)


def start_in_background(
    mqtt_url: str, plant: Plant, scenario: Scenario, seed: int = 1, speed: float = 1.0
) -> Background:
    """Start a run in a thread of this process."""
    return Background(mqtt_url, plant, scenario, seed, speed)


def run_simulator(
    config: Path,
    scenario: Path,
    mqtt_url: str,
    *,
    seed: int = 1,
    speed: float = 1.0,
    truth: Path | None = None,
    stop: threading.Event | None = None,
) -> int:
    """Run from files; give the exit code: 0 done or stopped, 2 with one line on stderr."""
    stop = stop or threading.Event()
    truth_file: TruthFile | None = None
    try:
        _check_speed(speed)
        plant = read_plant(config)
        read = read_scenario(scenario, plant)
        with Fleet(mqtt_url, plant, stop) as fleet:
            truth_file = None if truth is None else TruthFile(truth)
            simulate(plant, read, fleet, seed=seed, speed=speed, stop=stop, truth=truth_file)
    except (FileError, BadUrlError, BrokerError, OSError, ValueError) as error:
        print(" ".join(str(error).split()), file=sys.stderr)  # noqa: T201
        return 2
    finally:
        if truth_file is not None:
            truth_file.close()
    return 0

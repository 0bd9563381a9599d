"""SIGKILL of the API: what people entered and were told is done is there, once."""

import random
import threading
import time
from contextlib import ExitStack
from pathlib import Path

import httpx

from faults.family_kills import foreign_shop
from faults.judging import settled, sqlite_in
from faults.processes import Program, serving, workshop
from faults.sending import SITE, Load
from faults.table import Row
from steadybead_collector.clock import wall_clock
from steadybead_collector.records.store import open_records
from steadybead_domain.people import Actor, Role


class Welder:
    """Starts weld records over HTTP, each again until it has an answer, always under one id."""

    def __init__(self, address: str, token: str) -> None:
        self._address, self._token = address, token
        self.answered: list[str] = []
        self.sent = 0
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        with httpx.Client(
            base_url=self._address, headers={"Authorization": f"Bearer {self._token}"}, timeout=5.0
        ) as client:
            while not self._end.wait(0.02):
                name = f"weld-{self.sent}"
                self.sent += 1
                while not self._start(client, name) and not self._end.wait(0.05):
                    pass

    def _start(self, client: httpx.Client, name: str) -> bool:
        order = {"station": f"{SITE}/bay-1", "gun": "a", "weld": name, "job": name}
        try:
            answer = client.post("api/v1/welds", json=order)
        except httpx.HTTPError:
            return False
        if answer.status_code in {200, 201}:
            self.answered.append(name)
            return True
        return False

    def stop(self) -> None:
        self._end.set()
        self._thread.join()


def kill_api(times: int, seed: int) -> list[Row]:
    """SIGKILL `serve` beside a collector while records are started and readings come."""
    draw = random.Random(seed)  # noqa: S311
    row = Row("kill-api", "SIGKILL API", times, 0, 0, 0, note="readings and entries of welds")
    with workshop() as folder, foreign_shop(folder) as (broker, _), ExitStack() as stack:
        plant = folder / "plant.toml"
        program = serving(folder, plant, folder)
        stack.callback(program.kill)
        program.start()
        address = f"http://127.0.0.1:{program.words[-1]}/"
        load = Load(broker.url, 40.0)
        stack.callback(load.close)
        welder = Welder(address, _token(folder))
        stack.callback(welder.stop)
        for _ in range(times):
            time.sleep(draw.uniform(0.2, 1.2))
            since, told = time.monotonic(), len(welder.answered)
            program.kill()
            program.launch()
            _await_answer(welder, told, program)
            row.recovery_s.append(time.monotonic() - since)
        welder.stop()
        load.finish()
        count = settled(sqlite_in(folder), load)
        row.sent, row.missing, row.doubled = count.sent, count.missing, count.doubled
        _compare_welds(folder, welder, row)
    return [row]


def _token(folder: Path) -> str:
    records = open_records("sqlite", folder)
    try:
        welder, maker = Actor("welder", Role.WELDER), Actor("harness", Role.ADMINISTRATOR)
        return records.access.create_token(welder, maker, wall_clock(), "harness")
    finally:
        records.close()


def _await_answer(welder: Welder, told: int, program: Program) -> None:
    end = time.monotonic() + 180
    while len(welder.answered) == told:
        if time.monotonic() > end:
            raise RuntimeError(f"the API answers nobody: {program.last_words()}")
        time.sleep(0.01)


def _compare_welds(folder: Path, welder: Welder, row: Row) -> None:
    """Each record that was answered has one start; none is there that nobody entered."""
    records = open_records("sqlite", folder)
    try:
        for number in range(welder.sent):
            name = f"weld-{number}"
            events = records.welds.events(name) if records.welds.get(name) else []
            starts = sum(event.kind == "start" for event in events)
            answered = name in welder.answered
            row.sent += answered
            row.missing += answered and starts == 0
            row.doubled += max(0, starts - 1)
    finally:
        records.close()

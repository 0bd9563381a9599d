"""The collector's clock steps by a day, forward and back, while it is killed now and then."""

import random
import time
from contextlib import ExitStack

from faults.family_kills import written
from faults.judging import in_quarantine, settled, sqlite_in
from faults.processes import Program, kept_mosquitto, workshop
from faults.sending import Load, plant_text
from faults.stepped import Offset
from faults.table import Row
from steadybead_domain.times import DAY

STAYS_S = (1.0, 3.0, 17.0)  # the last one outlasts what makes an acknowledgement sure


def clock_steps(times: int, seed: int) -> list[Row]:
    """Step a day away and back; every second time SIGKILL the collector right after the return.

    What stations send with times of their own is, for a clock a day behind, too far ahead: it
    must then stand in quarantine, whole.
    """
    draw = random.Random(seed)  # noqa: S311
    row = Row("clock-steps", "collector's clock a day off and back", times, 0, 0, 0)
    with workshop() as folder, ExitStack() as stack:
        broker = stack.enter_context(kept_mosquitto(folder))
        plant = written(folder, plant_text(f'url = "{broker.url}"'))
        offset = Offset(folder / "offset")
        words = ("stepped", str(plant), str(folder), str(folder / "offset"), "1", "0")
        program = Program(words, folder / "stepped.log")
        stack.callback(program.kill)
        program.start()
        load = Load(broker.url, 40.0)
        stack.callback(load.close)
        for number in range(times):
            time.sleep(draw.uniform(0.5, 2.0))
            offset.us = DAY if number % 2 else -DAY
            time.sleep(STAYS_S[number // 2 % len(STAYS_S)])
            offset.us = 0
            if draw.random() < 0.7:
                time.sleep(draw.uniform(0.0, 1.0))
                program.kill()
                program.launch()
                program.await_line()
        time.sleep(8)
        load.finish()
        end = time.monotonic() + 60
        while True:
            count = settled(sqlite_in(folder), load, 1.0)
            aside = in_quarantine(folder)
            if not count.lost - aside or time.monotonic() > end:
                break
        kept = len(count.lost & aside)
        row.sent, row.missing, row.doubled = count.sent, count.missing - kept, count.doubled
        row.note = f"{kept:,} of them whole in quarantine, as too far ahead"
    return [row]

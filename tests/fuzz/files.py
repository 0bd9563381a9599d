"""Inputs that stand in files: plant file, scenario, procedures, logs as CSV."""

import io
import json
import math
import re
from collections.abc import Callable
from contextlib import redirect_stderr
from pathlib import Path
from random import Random
from typing import TextIO

from fuzz import mutate
from fuzz.laws import Target, law, one_message
from plants_ingest import PLANT
from simulated_shop import ALL_KINDS
from steadybead_collector.analyse import analyse_filter
from steadybead_collector.analyse_drift import analyse_drift
from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_collector.records.procedure_file import START_SET, read_procedures
from steadybead_domain.ports import StoreError
from steadybead_simulator import demo
from steadybead_simulator.places import FileError
from steadybead_simulator.plantfile import parse_plant
from steadybead_simulator.scenario_file import parse_scenario

_README = Path(__file__).resolve().parents[2] / "README.md"
_MINIMUM = '[site]\nid = "north"\n[[station]]\nid = "bay-1"\n' + "".join(
    f'[[station.channel]]\nid = "gun-a/{name}"\nquantity = "{quantity}"\n'
    for name, quantity in (("nozzle", "nozzle_temperature"), ("flow", "air_flow"))
)


def plants() -> list[str]:
    """Give plant files: the demo's, those of the tests, and the README's pieces."""
    pieces = re.findall(r"```toml\n(.*?)```", _README.read_text("utf-8"), re.DOTALL)
    whole = [p if "[site]" in p else f"{p}\n{_MINIMUM}" for p in pieces]
    return [PLANT, demo.PLANT.read_text("utf-8"), ALL_KINDS, *whole]


def plant_file(folder: Path) -> Target:
    """Load plant files; the simulator's own reader agrees with what was accepted."""
    texts, path = plants(), folder / "plant.toml"

    def feed(text: str) -> bool:
        path.write_bytes(text.encode("utf-8", "replace"))
        try:
            loaded = load_plant_file(path)
        except PlantFileError as error:
            lines = text.count("\n") + text.count("\r") + 1
            for problem in error.problems:
                law(1 <= problem.line <= lines, f"line {problem.line} of {lines}")
                law(bool(problem.remedy.strip()), "no remedy")
                one_message(str(problem))
            return one_message(str(error))
        law(loaded.text.encode() == path.read_bytes(), "the text was changed")
        law(len(set(loaded.plant.channels())) == len(list(loaded.plant.channels())), "twice")
        return True

    return Target("plant file", lambda draw: mutate.toml(draw, texts), feed)


def plant_file_of_simulator(_: Path) -> Target:
    """Read plant files as the simulator does."""
    texts = plants()

    def feed(text: str) -> bool:
        try:
            parse_plant("plant.toml", text)
        except FileError as error:
            return one_message(str(error))
        return True

    return Target("plant file, simulator", lambda draw: mutate.toml(draw, texts), feed)


def scenario_file(_: Path) -> Target:
    """Read scenario and fault files."""
    plant, _ = demo.load()
    folder = demo.SCENARIO.parent
    texts = [(folder / name).read_text("utf-8") for name in ("scenario.toml", "past.toml")]

    def feed(text: str) -> bool:
        try:
            scenario = parse_scenario("day.toml", text, plant)
        except FileError as error:
            return one_message(str(error))
        for fault in scenario.faults:
            law(math.isfinite(fault.start_s), "a fault without a time")
        return True

    return Target("scenario file", lambda draw: mutate.toml(draw, texts), feed)


def procedures_file(folder: Path) -> Target:
    """Read procedures."""
    pieces = START_SET.read_text("utf-8").split("\n\n[")
    texts = ["[" + "\n\n[".join(pieces[i : i + 2]) for i in range(1, len(pieces) - 1, 2)]
    path = folder / "procedures.toml"

    def feed(text: str) -> bool:
        path.write_text(text, "utf-8", "replace")
        try:
            found = read_procedures(path)
        except StoreError as error:
            return one_message(str(error))
        for procedure in found:
            law(isinstance(procedure.title, str), "a title that is no text")
        return True

    return Target("procedures file", lambda draw: mutate.toml(draw, texts), feed)


def _log(draw: Random, columns: list[str], levels: list[float]) -> bytes:
    """Make a log with a few odd cells, rows and times."""
    step = draw.choice((0.1, 1.0, 1.0, 60.0, 3600.0))
    rows, time = [",".join(columns)], draw.choice((0.0, 0.0, 1.7e9, -5.0))
    odd = draw.choice((0.0, 0.02, 0.2))
    for _ in range(draw.choice((0, 1, 2, 10, 60, 200))):
        time += step * (draw.choice((0, -1, 3, 1e3, 1e5)) if draw.random() < odd / 2 else 1)
        cells = [f"{time:.6g}", *(f"{v * draw.gauss(1.0, 0.01):.6g}" for v in levels)]
        if draw.random() < odd:
            cells[draw.randrange(len(cells))] = draw.choice(_ODD_CELLS)
        if draw.random() < odd / 4:
            cells = cells[: draw.randrange(len(cells) + 1)] + [""] * draw.randrange(3)
        rows.append(",".join(cells))
    text = draw.choice(("\n", "\n", "\r\n")).join(rows).encode("utf-8", "replace")
    return mutate.data(draw, [text]) if draw.random() < 0.5 else text


_ODD_CELLS = (
    "", " ", "nan", "inf", "-inf", "1e308", "-1e308", "1e-320", "x", '"', '"1"', "1_000", "٣",
    "1e5", "-0", "9" * 400, "é", "\0", "1e18", "=1+1", "1;2", "1,2", "1e15",
)  # fmt: skip


def _analyse(
    name: str, file: Path, make: Callable[[Random], bytes], run: Callable[[TextIO], int]
) -> Target:
    def feed(content: bytes) -> bool:
        file.write_bytes(content)
        out, errors = io.StringIO(), io.StringIO()
        with redirect_stderr(errors):
            code = run(out)
        if code == 2:
            law(not out.getvalue(), "lines were written before the refusal")
            return one_message(errors.getvalue().removesuffix("\n"))
        law(code == 0 and not errors.getvalue(), f"code {code}, {errors.getvalue()[:200]!r}")
        lines = out.getvalue().splitlines()
        law(bool(lines), "a log that can be read gives no line")
        for line in lines:
            json.loads(line, parse_constant=_no_constant)
        return True

    return Target(name, make, feed)


def _no_constant(word: str) -> None:
    raise ValueError(f"{word} is no JSON")


def filter_log(folder: Path) -> Target:
    """Run `analyse filter`."""
    file = folder / "filter.csv"

    def make(draw: Random) -> bytes:
        names, levels = ["time_s", "dp_pa", "flow_l_min"], [150.0, 51.0]
        n = draw.choice((2, 3))
        return _log(draw, names[:n], levels[: n - 1])

    return _analyse("analyse filter", file, make, lambda out: analyse_filter(file, 250.0, out))


def drift_log(folder: Path) -> Target:
    """Run `analyse drift`."""
    file = folder / "drift.csv"
    names = ["nozzle_c", "flow_l_min", "power_w", "inlet_c", "set_c", "reference_c"]
    levels = [320.0, 51.0, 900.0, 22.0, 320.0, 318.0]

    def make(draw: Random) -> bytes:
        n = draw.randrange(1, 7)
        return _log(draw, ["time_s", *names[:n]], levels[:n])

    return _analyse("analyse drift", file, make, lambda out: analyse_drift(file, out))

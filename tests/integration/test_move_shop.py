"""A shop moves from the embedded stores to servers and back, the same to the bit."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

import influx_server
import records_postgres
from influx_server import Gate
from records_samples import CHIEF, T0, act, fact, refusal, start, stop
from steadybead_api.command import main
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import open_readings
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.readings import Batch, Columns
from store_samples import START, all_of, bits, reading, steady

PLANT = """[site]
id = "north"
timezone = "Europe/Lisbon"

[store]
{store}
[[station]]
id = "bay-1"

[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"

[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
"""
NOZZLE, FLOW = (ChannelId("north", "bay-1", f"gun-a/{name}") for name in ("nozzle", "flow"))
BAY_1 = StationId("north", "bay-1")


@pytest.fixture(scope="module")
def server() -> Iterator[Gate]:
    if (reason := influx_server.why_not()) is not None:
        pytest.skip(reason)
    with influx_server.readings_server() as gate:
        yield gate


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


def plant(folder: Path, store: str = "") -> Path:
    folder.mkdir()
    file = folder / "plant.toml"
    file.write_text(PLANT.format(store=store))
    return file


def furnish(data: Path) -> int:
    """Fill the embedded stores; give the position that the saved diagnosis has seen."""
    readings = open_readings("sqlite", data, None)
    rows = {NOZZLE: steady(40_000), FLOW: steady(3_000, low=60.0, seed=2)}
    seen = readings.append(Batch(START, rows)).position
    last = int(rows[NOZZLE].time[-1])
    readings.append(Batch(last, {NOZZLE: rows_of(last, -0.0, 5e-324)}))
    readings.close()
    records = open_records("sqlite", data, lambda: T0)
    records.add_weld_event(start("w1"))
    records.add_weld_event(stop("w1", 5.0))
    records.add_alarm_facts([fact("al1", 0, active=True)])
    records.alarms.act(act("al1", 1), CHIEF, "test")
    records.quarantine([refusal(b"\x00\xff", 1)])
    records.save_states(seen, {BAY_1: b"learnt"})
    records.close()
    return seen


def rows_of(last: int, *values: float) -> Columns:
    return Columns.of([reading(last + 1 + i, value) for i, value in enumerate(values)])


def test_to_the_servers_and_back(
    server: Gate, database: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gate = influx_server.emptied(server)
    here, there, back = (tmp_path / name for name in ("here", "there", "back"))
    servers = f'readings = "{gate.store_url()}"\n'
    if gate.token:
        (tmp_path / "token").write_text(gate.token)
        (tmp_path / "token").chmod(0o600)
        servers += 'readings_token_file = "../token"\n'
    servers += f'records = "{records_postgres.emptied(database)}"\n'
    old, new, again = plant(here), plant(there, servers), plant(back)
    furnish(here / "steadybead-data")

    assert main(["move", "--config", str(old), "--to", str(new)]) == 0
    assert main(["move", "--config", str(new), "--to", str(again)]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if "the same there" in line]
    assert told[:2] == told[2:]
    assert told[0].startswith("43002 readings of 2 channels")

    first = open_readings("sqlite", here / "steadybead-data", None, read_only=True)
    last = open_readings("sqlite", back / "steadybead-data", None, read_only=True)
    for channel in (NOZZLE, FLOW):
        rows = [all_of(store, channel, -(2**61), 2**61) for store in (first, last)]
        assert bits(rows[0]) == bits(rows[1])
    records = open_records("sqlite", back / "steadybead-data")
    state = records.load_state(BAY_1)
    assert state is not None
    assert state[1] == b"learnt"
    assert [len(batch) for _, batch in last.since(state[0])] == [2]
    assert records.add_weld_event(start("w2", 9))
    for store in (first, last, records):
        store.close()


def test_numbers_go_on_after_those_that_were_moved(database: str, tmp_path: Path) -> None:
    url = records_postgres.emptied(database)
    old = plant(tmp_path / "old")
    new = plant(tmp_path / "new", f'records = "{url}"\n')
    furnish(tmp_path / "old" / "steadybead-data")
    assert main(["move", "--config", str(old), "--to", str(new)]) == 0
    records = open_records(url, tmp_path)
    records.add_alarm_facts([fact("al2", 3, active=True)])
    records.quarantine([refusal(b"new", 2)])
    records.close()


@pytest.mark.parametrize("table", ["quarantine"])
def test_records_that_are_not_empty_are_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], table: str
) -> None:
    old, new = plant(tmp_path / "old"), plant(tmp_path / "new")
    furnish(tmp_path / "old" / "steadybead-data")
    target = open_records("sqlite", tmp_path / "new" / "steadybead-data", lambda: T0)
    target.close()
    assert main(["move", "--config", str(old), "--to", str(new)]) == 2
    said = capsys.readouterr().err
    assert "are not empty (procedure)" in said or "are not empty (change)" in said
    assert said.count("\n") == 1
    file = sqlite3.connect(tmp_path / "new" / "steadybead-data" / "records.db")
    assert file.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)  # noqa: S608
    file.close()


def test_mistakes_are_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old, new = plant(tmp_path / "old"), plant(tmp_path / "new")
    for words, says in (
        (["--to", str(old)], "the same plant file"),
        (["--to", str(new)], "no such data folder"),
        (["--to", str(new), "--data", str(tmp_path), "--to-data", str(tmp_path)], "of both"),
    ):
        assert main(["move", "--config", str(old), *words]) == 2
        said = capsys.readouterr().err
        assert says in said
        assert said.count("\n") == 1

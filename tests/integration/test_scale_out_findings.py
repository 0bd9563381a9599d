"""Findings that build for days go on where their collector was killed: same onset, same numbers.

Two collectors of one cluster hear the same readings, each of its own station. One is killed when
the filter's growth is learnt and the chart of the sensor's zero has begun to climb.
"""

import contextlib
import dataclasses
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import orjson
import paho.mqtt.client as paho
import pytest

import influx_server
import records_postgres
from brokers_ingest import publisher, until
from cluster_nats import Balancer, cluster
from collect_servers import Collecting, stand_in
from influx_server import Gate
from shop_language import made_station
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.address import subscriptions
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.stores.influx.reader import InfluxReader
from steadybead_collector.watch.saved_state import SavedState
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.diagnosis.zero_check import ZeroCheck
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND

CALM, FELLED = "bay-1", "bay-2"
PLANT = """[site]
id = "north"
timezone = "Europe/Lisbon"

[mqtt]
url = "{url}"
topics = ["steadybead/v1/north/{station}/#"]

[store]
readings = "{readings}"
records = "{records}"

[[station]]
id = "{station}"

[station.blower]
intake_filter_limit_pa = 250

[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"

[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"

[[station.channel]]
id = "air/drop"
quantity = "filter_pressure_drop"
unit = "Pa"
"""
NAMES = ("gun-a/nozzle", "gun-a/flow", "air/drop")
EVERY, CYCLE, RUNS = 20 * SECOND, 90 * MINUTE, 75 * MINUTE
LENGTH, SAVED_AT, HEARD_UNTIL = 20 * HOUR, 15 * HOUR, 19 * HOUR
KINDS = ("filter_", "pressure_zero")


@dataclasses.dataclass(frozen=True)
class Story:
    """Twenty hours of yesterday: a filter fills while a pressure sensor's zero creeps away."""

    start: int

    def packs(self) -> list[bytes]:
        """Give a pack for every twenty seconds."""
        time = np.arange(0, LENGTH, EVERY)
        draw = np.random.default_rng(7)
        on = time % CYCLE < RUNS
        running = np.cumsum(on) / on.sum()
        creep = 2.5 * np.maximum(0, time // CYCLE - 7)
        n = len(time)
        drop = np.where(on, 40.0 * 7.5**running, 0.0) + creep + 0.8 * draw.standard_normal(n)
        flow = np.where(on, 50.0, 0.0) + 0.3 * draw.standard_normal(n) * on
        nozzle = np.where(on, 320.0, 22.0) + 0.5 * draw.standard_normal(n)
        rows = zip(((self.start + time) / SECOND).tolist(), nozzle, flow, drop, strict=True)
        return [
            orjson.dumps(
                [
                    {"n": name, "t": at, "v": round(float(value), 3)}
                    for name, value in zip(NAMES, values, strict=True)
                ]
            )
            for at, *values in rows
        ]


@pytest.fixture
def gate() -> Iterator[Gate]:
    if (reason := influx_server.why_not()) is not None:
        pytest.skip(reason)
    with influx_server.readings_server() as gate:
        yield gate


@pytest.fixture
def database() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.mark.slow
@pytest.mark.timeout(500)
def test_findings_go_on_where_their_collector_was_killed(
    tmp_path: Path, gate: Gate, database: str
) -> None:
    story = Story((time.time_ns() // 1000 - DAY) // SECOND * SECOND)
    packs = story.packs()
    saved_at, heard = SAVED_AT // EVERY, HEARD_UNTIL // EVERY
    with contextlib.ExitStack() as stack:
        nodes = stack.enter_context(cluster(tmp_path))
        balancer = Balancer(nodes)
        stack.callback(balancer.close)
        records = stack.enter_context(contextlib.closing(open_records(database, tmp_path / "own")))
        plants = {s: plant_of(tmp_path, s, balancer.url, gate, database) for s in (CALM, FELLED)}
        for plant in plants.values():
            open_session(plant, balancer.url)
        sender = stack.enter_context(publisher(balancer.url))
        for name, until_pack in ((CALM, len(packs)), (FELLED, heard)):
            for number, pack in enumerate(packs[:until_pack]):
                sender.send(f"steadybead/v1/north/{name}/senml", pack)
                if number == saved_at:  # a word that has the state saved
                    sender.send(f"steadybead/v1/north/{name}/online", b"1")
        sender.flush(60)
        calm, felled = (
            Collecting(plants[s], data_of(plants[s]), settle_s=600) for s in (CALM, FELLED)
        )
        stack.callback(calm.end, signal.SIGKILL)
        until(lambda: ends_with_zero(records, CALM) and half_way(records, story.start), 200)
        felled.end(signal.SIGKILL)
        killed = time.monotonic()
        before = told(records, FELLED)
        assert "pressure_zero" not in {f.kind for f in before}
        assert climbing(records, FELLED)
        for pack in packs[heard:]:
            sender.send(f"steadybead/v1/north/{FELLED}/senml", pack)
        standby = stand_in(plants[FELLED], felled, tmp_path / "standby")
        stack.callback(standby.end, signal.SIGKILL)
        until(lambda: len(told(records, FELLED)) > len(before), 200)
        went_on_s = time.monotonic() - killed
        until(lambda: ends_with_zero(records, FELLED), 200)
        station = load_plant_file(plants[FELLED]).plant.stations[0]
        alone = replayed(station, gate, story.start)
        assert [f.kind for f in alone][-2:] == ["filter_limit", "pressure_zero"]
        assert told(records, FELLED) == alone
        assert [at_felled(f) for f in told(records, CALM)] == alone
        assert told(records, FELLED)[: len(before)] == before
    sys.stdout.write(f"findings go on {went_on_s:.1f} s after the collector's death\n")


def plant_of(folder: Path, station: str, url: str, gate: Gate, records: str) -> Path:
    file = folder / f"{station}.toml"
    file.write_text(
        PLANT.format(station=station, url=url, readings=gate.store_url(), records=records)
    )
    return file


def data_of(plant: Path) -> Path:
    return plant.with_name(f"data-{plant.stem}")


def open_session(plant: Path, url: str) -> None:
    """Let the broker keep what comes for a collector before it starts, as while it is away."""
    data_of(plant).mkdir()
    name = f"sb-{plant.stem}"
    (data_of(plant) / "mqtt-client-id").write_text(name)
    plant_file = load_plant_file(plant)
    granted: list[int] = []
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, name, clean_session=False)
    client.on_connect = lambda c, *_: c.subscribe(
        [(topic, 1) for topic in subscriptions(plant_file.plant, plant_file.mqtt)]
    )
    client.on_subscribe = lambda *_: granted.append(1)
    host, port = url.removeprefix("mqtt://").rsplit(":", 1)
    client.connect(host, int(port))
    client.loop_start()
    until(lambda: granted, 30)
    client.disconnect()
    client.loop_stop()


def state_of(records: Records, station: str) -> dict[str, object]:
    loaded = records.load_state(StationId("north", station))
    state = None if loaded is None else SavedState.from_bytes(loaded[1])
    return {} if state is None else dict(orjson.loads(state.dump))


def judged_until(records: Records, station: str) -> int:
    step = state_of(records, station).get("next_step")
    return step * STEP if isinstance(step, int) else 0


def half_way(records: Records, start: int) -> bool:
    due = any(f.kind == "filter_due" for f in told(records, FELLED))
    return due and judged_until(records, FELLED) >= start + SAVED_AT


def climbing(records: Records, station: str) -> bool:
    """Tell whether the chart of the sensor's zero has left its line and told nothing yet."""
    checks = state_of(records, station)["checks"]
    zero = ZeroCheck(made_station(station, air={"drop": Quantity.FILTER_PRESSURE_DROP}))
    zero.load(checks["zero"])  # type: ignore[index]
    return zero.figures[Quantity.FILTER_PRESSURE_DROP].chart.high > 0 and not zero.told


def told(records: Records, station: str) -> list[Finding]:
    """List all that was told of filter and sensor, each as often as it was told."""
    place = StationId("north", station)
    found = [f for kind in KINDS for f in records.findings.of_kinds(place, kind, 0, 1000)]
    return sorted(found, key=lambda f: (f.time, f.kind))


def ends_with_zero(records: Records, station: str) -> bool:
    found = told(records, station)
    return bool(found) and found[-1].kind == "pressure_zero"


def at_felled(finding: Finding) -> Finding:
    """Give a finding of the undisturbed station as if it were one of the other."""
    place = StationId("north", FELLED)
    channel = finding.channel
    moved = None if channel is None else ChannelId(place.site, place.station, channel.channel)
    return dataclasses.replace(finding, station=place, channel=moved)


def replayed(station: Station, gate: Gate, start: int) -> Sequence[Finding]:
    """Judge what the store holds in one piece."""
    reader = InfluxReader(gate.address())
    diagnosis = StationDiagnosis(station, {})
    for channel in station.channels:
        rows = Columns.concat(list(reader.read(channel.id, start, start + DAY)))
        assert len(rows) == LENGTH // EVERY
        diagnosis.push({channel.id: rows})
    reader.close()
    found = diagnosis.advance(start + DAY).findings
    return sorted((f for f in found if f.kind.startswith(KINDS)), key=lambda f: (f.time, f.kind))

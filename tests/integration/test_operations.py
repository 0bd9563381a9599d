"""What who runs the machine is told: probes, readiness, metrics; quarantine that ends."""

import json
import shutil
import urllib.error
import urllib.request
from collections import namedtuple
from pathlib import Path

import pytest
from prometheus_client import CollectorRegistry, generate_latest

from brokers_ingest import free_port, mosquitto, needs_mosquitto, until
from plants_ingest import PLANT, plant_file
from records_samples import T0, refusal
from steadybead_api.collector_metrics import CollectorMetrics, QuarantineMetrics
from steadybead_api.conditions import (
    collector_conditions,
    collector_elsewhere,
    disk_condition,
)
from steadybead_api.health_server import HealthServer
from steadybead_api.services import Condition
from steadybead_api.shop import open_shop
from steadybead_collector.clock import wall_clock
from steadybead_collector.collector import CollectorStatus
from steadybead_collector.config import load_plant_file
from steadybead_collector.health import Pulse
from steadybead_collector.mqtt.address import Address
from steadybead_collector.mqtt.inbox import Inbox
from steadybead_collector.mqtt.subscriber import DROPPED, Subscriber
from steadybead_collector.records.store import open_records
from steadybead_collector.retention import Retention
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_collector.watch.punctuality import Punctuality
from steadybead_domain.errors import PlainError
from steadybead_domain.ids import StationId
from steadybead_domain.times import DAY, SECOND

USAGE = namedtuple("USAGE", "total used free")  # noqa: PYI024 - what shutil gives


def asked(port: int, path: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def test_a_collector_without_pages_answers_probes() -> None:
    conditions = [Condition("collector subscribed", True)]
    server = HealthServer(("127.0.0.1", 0), lambda: conditions, CollectorRegistry())
    server.start()
    try:
        assert asked(server.port, "/healthz") == (200, '{"status": "alive"}')
        assert asked(server.port, "/readyz?x=1")[0] == 200
        conditions.append(Condition("readings store", False, "the disk is full"))
        status, text = asked(server.port, "/readyz")
        assert (status, json.loads(text)["conditions"][1]["detail"]) == (503, "the disk is full")
        assert asked(server.port, "/metrics")[0] == 200
        assert asked(server.port, "/../etc/passwd")[0] == 404
        with pytest.raises(PlainError, match="name another"):
            HealthServer(("127.0.0.1", server.port), lambda: conditions, CollectorRegistry())
    finally:
        server.stop()


@pytest.mark.mosquitto
@needs_mosquitto
def test_collect_tells_how_it_is_where_the_plant_file_says(tmp_path: Path) -> None:
    port = free_port()
    with mosquitto(tmp_path) as broker:
        settings = f'[operations]\nhealth = "127.0.0.1:{port}"\n[mqtt]\nurl = "{broker.url}"\n'
        loaded = load_plant_file(plant_file(tmp_path, PLANT + settings))
        with open_shop(loaded, tmp_path / "data", collect=True, serve=False):
            until(lambda: asked(port, "/readyz")[0] == 200)
            assert (tmp_path / "data").stat().st_mode & 0o077 == 0
            figures = asked(port, "/metrics")[1]
            for name in ("queue_messages", "lag_seconds", "subscribed", "store_ok"):
                assert f"\nsteadybead_collector_{name} " in figures
            assert "\nsteadybead_quarantine_rows 0.0" in figures
            assert "bay-1" not in figures
            broker.stop()
            until(lambda: asked(port, "/readyz")[0] == 503)
            assert "collector subscribed" in asked(port, "/readyz")[1]
            broker.start()
            until(lambda: asked(port, "/readyz")[0] == 200, 30)


def test_a_low_disk_is_not_ready(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for total, free, ok in (
        (10**12, 499 * 10**6, False),
        (10**12, 501 * 10**6, True),
        (64 * 10**6, 60 * 10**6, True),
        (64 * 10**6, 3 * 10**6, False),
    ):
        monkeypatch.setattr(shutil, "disk_usage", lambda _, t=total, f=free: USAGE(t, t - f, f))
        found = disk_condition(tmp_path, 500)
        assert (found.ok, found.name) == (ok, "disk")
        assert ok or "make room" in found.detail
        assert str(tmp_path) not in found.detail
    monkeypatch.undo()
    assert not disk_condition(tmp_path / "gone", 500).ok


def test_a_silent_collector_of_another_process_is_told(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path, lambda: T0)
    assert list(collector_elsewhere(tmp_path, records, T0)) == []  # nothing can be known
    bay = StationId("north", "bay-1")
    records.claims.take([bay], "one", T0)
    (alive,) = collector_elsewhere(tmp_path, records, T0 + SECOND)
    (dead,) = collector_elsewhere(tmp_path, records, T0 + 60 * SECOND)
    assert (alive.ok, dead.ok) == (True, False)
    Pulse(tmp_path).beat(T0, subscribed=True, fault="")
    (well,) = collector_elsewhere(tmp_path, records, T0 + SECOND)
    (silent,) = collector_elsewhere(tmp_path, records, T0 + 60 * SECOND)
    assert (well.ok, silent.ok) == (True, False)
    assert "60 s old" in silent.detail
    records.close()


def status(**members: object) -> CollectorStatus:
    usual = {"subscribed": True, "store_ok": True, "queue_length": 7, "lag_s": 1.5}
    usual |= {"counts": {"accepted": 5}, "last_error": ""}
    return CollectorStatus(**(usual | members))  # type: ignore[arg-type]


def test_broker_and_store_that_are_away_are_told_with_the_reason() -> None:
    away = status(subscribed=False, last_error="connection refused")
    found = {c.name: (c.ok, c.detail) for c in collector_conditions(away, None)}
    assert found["collector subscribed"] == (False, "connection refused")
    found = {c.name: (c.ok, c.detail) for c in collector_conditions(status(store_ok=False), None)}
    assert not found["readings store"][0]


def test_metrics_of_clock_and_broker_are_there_once_they_are_known() -> None:
    told = [status()]
    registry = CollectorRegistry()
    registry.register(CollectorMetrics(lambda: told[0]))
    text = generate_latest(registry).decode()
    assert "\nsteadybead_collector_lag_seconds 1.5" in text
    assert "\nsteadybead_collector_queue_messages 7.0" in text
    assert "clock_offset" not in text
    told[0] = status(clock_offset_s=-3.5, broker_dropped=12)
    text = generate_latest(registry).decode()
    assert "\nsteadybead_collector_clock_offset_seconds -3.5" in text
    assert "\nsteadybead_collector_broker_dropped_messages 12.0" in text


def test_a_clock_that_is_ahead_or_behind_shows_for_half_a_minute() -> None:
    watch = Punctuality()
    assert watch.offset(0) is None
    watch.heard(10 * SECOND, 17 * SECOND, 18 * SECOND)
    assert watch.offset(10 * SECOND) == -8 * SECOND
    watch.heard(11 * SECOND, 18 * SECOND, 18 * SECOND)
    assert watch.offset(11 * SECOND) == -8 * SECOND
    watch.heard(60 * SECOND, 50 * SECOND, 58 * SECOND)
    assert watch.offset(61 * SECOND) == 2 * SECOND
    assert watch.offset(300 * SECOND) is None


@pytest.mark.mosquitto
@needs_mosquitto
def test_what_the_broker_dropped_is_heard_and_no_reading_of_ours(tmp_path: Path) -> None:
    with mosquitto(tmp_path, "sys_interval 1") as broker:
        inbox = Inbox()
        url = broker.url
        loaded = load_plant_file(plant_file(tmp_path, f'{PLANT}[mqtt]\nurl = "{url}"\n'))
        ear = Subscriber(
            Address.of(url, loaded.mqtt), "ear", ("a/#",), inbox, wall_clock, ask_broker=True
        )
        ear.start()
        assert ear.wait_ready(10), ear.last_error
        until(lambda: ear.broker_dropped == 0)
        assert len(inbox) == 0
        ear.stop()


def test_more_dropped_is_an_event(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    loaded = load_plant_file(plant_file(tmp_path, PLANT))
    address = Address.of("mqtt://127.0.0.1:1", loaded.mqtt)
    ear = Subscriber(address, "ear", ("a/#",), Inbox(), wall_clock, ask_broker=True)
    for payload in (b"3", b"3", b"x", b"", b"-1", b"9" * 40, b"5"):
        ear._note_dropped(payload)
    assert ear.broker_dropped == 5
    (told,) = [r for r in caplog.records if getattr(r, "event", "") == "broker_dropped"]
    assert told.__dict__["fields"] == {"count": 2, "total": 5}
    assert DROPPED.startswith("$SYS/")
    ear.stop()


def test_refusals_are_kept_for_as_long_as_the_plant_file_says(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path, lambda: T0)
    records.quarantine([refusal(b"old"), refusal(b"again"), refusal(b"new", 90 * 86400.0)])
    records.quarantine([refusal(b"again", 50 * 86400.0)])
    assert records.refusals.size() == (3, 4)
    registry = CollectorRegistry()
    registry.register(QuarantineMetrics(records.refusals))
    assert "steadybead_quarantine_records 4.0" in generate_latest(registry).decode()

    def keeper(days: int | None) -> Retention:
        clock = T0 + 100 * DAY
        return Retention(
            MemoryReadings(), lambda _: (), None, lambda: clock, records.refusals, days
        )

    assert keeper(None).forget_refusals() == 0
    assert keeper(400).forget_refusals() == 0
    assert keeper(60).forget_refusals() == 1
    left = [row.refused.payload for row in records.refusals.page(9).items]
    assert left == [b"new", b"again"]
    assert keeper(20).forget_refusals() == 1
    assert keeper(60).forget() == 0
    records.close()


def test_many_refusals_go_in_parts(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path, lambda: T0)
    records.quarantine([refusal(b"%d" % i) for i in range(1000)])
    assert records.refusals.forget(T0 + DAY) == 1000
    assert records.refusals.size() == (0, 0)
    records.close()

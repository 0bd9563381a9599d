"""The live stream over a real server, and the feed over a real broker."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import anyio
import anyio.lowlevel
import httpx
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api_server import listening, served
from api_shop import BAY_1, PLANT, T0, Clock, Shop, live_of, make_shop
from brokers_ingest import Mosquitto, needs_mosquitto
from records_samples import fact
from steadybead_api.live_feed import LiveFeed
from steadybead_api.live_subscription import MOST_CHANGES, AlarmNews
from steadybead_collector.config.settings import MqttSettings
from steadybead_collector.mqtt.broker import EmbeddedBroker
from steadybead_collector.watch.publisher import live_payload
from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.live import Fitness
from steadybead_domain.people import Role
from steadybead_domain.times import SECOND

pytestmark = pytest.mark.anyio
RAISED: Alarm = alarm_state([fact("al1", 0, active=True)], [], T0)


def alarm_payload(alarm: Alarm = RAISED) -> bytes:
    return json.dumps(alarm_to_json(alarm)).encode()


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.board.connected(opened.clock())
    yield opened
    opened.close()


@pytest.fixture
def address(shop: Shop) -> Iterator[str]:
    with served(shop.app, shop.services.stopping) as at:
        yield at


def tell(shop: Shop, **live: Any) -> None:
    message = live_of(time=shop.clock(), **live)
    shop.board.take("north/bay-1/live", live_payload(message), retained=False)


async def test_stream_begins_with_everything(shop: Shop, address: str) -> None:
    tell(shop)
    shop.board.take("north/bay-1/alarm/al1", alarm_payload(), retained=True)
    headers = {**shop.token(Role.VIEWER), "Last-Event-ID": "77"}
    async with listening(address, headers) as events:
        first = [await events.next() for _ in range(4)]
    assert first[0] == ("link", {"broker": True})
    assert first[1] == ("live", live_of().to_json())
    assert first[2][1]["station"] == "north/bay-2"
    assert first[2][1]["fitness"] == "no data"
    assert first[3] == ("alarm", alarm_to_json(RAISED))
    assert events.ids == [1, 2, 3, 4]


async def test_changes_and_values_follow(shop: Shop, address: str) -> None:
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.until(lambda _, d: d.get("station") == "north/bay-2")
        tell(shop)
        await events.until(lambda n, d: n == "live" and d["fitness"] == "fit")
        tell(shop, value=333.5)
        await events.until(lambda n, d: n == "live" and d["values"][0]["value"] == 333.5)
        tell(shop, fitness=Fitness.NOT_FIT)
        change = await events.until(lambda n, d: n == "live" and d["fitness"] == "not fit")
        assert change["reasons"] == ["air flow low"]
        shop.board.take("north/bay-1/alarm/al1", alarm_payload(), retained=False)
        assert (await events.until(lambda n, _: n == "alarm"))["id"] == "al1"
        shop.board.take("north/bay-1/alarm/al1", b"", retained=False)
        assert await events.until(lambda n, _: n == "alarm-cleared") == {"alarm": "al1"}


async def test_silence_of_five_seconds_is_no_data(shop: Shop, address: str) -> None:
    tell(shop)
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.until(lambda n, d: n == "live" and d["fitness"] == "fit")
        shop.clock.advance(4.9)
        await events.until(lambda n, _: n == "link")  # the heartbeat: nothing changed
        shop.clock.advance(0.2)
        quiet = await events.until(lambda n, d: n == "live" and d["station"] == "north/bay-1")
    assert quiet["fitness"] == "no data"
    assert quiet["reasons"] == ["no data for 5 s"]
    assert quiet["guns"][0]["state"] == "no data"
    assert quiet["values"][0]["value"] == 320.0


async def test_lost_broker_is_told_at_once(shop: Shop, address: str) -> None:
    tell(shop)
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.until(lambda n, d: n == "live" and d["fitness"] == "fit")
        shop.board.disconnected()
        assert await events.until(lambda n, _: n == "link") == {"broker": False}
        lost = await events.until(lambda n, d: n == "live" and d["station"] == "north/bay-1")
        assert lost["reasons"] == ["broker unreachable"]
        shop.board.connected(shop.clock())
        assert await events.until(lambda n, _: n == "link") == {"broker": True}
        await events.until(lambda n, d: n == "live" and d["fitness"] == "fit")


async def test_stopping_ends_open_streams_at_once(shop: Shop, address: str) -> None:
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.next()
        shop.services.stopping.set()
        began = time.monotonic()
        assert (await events.rest())[-1] == ("note", {"detail": "the server ends"})
        assert time.monotonic() - began < 2


async def test_listener_that_left_is_forgotten(shop: Shop, address: str) -> None:
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.next()
        assert shop.board.listeners == 1
    await true(lambda: shop.board.listeners == 0)


async def test_reader_that_misses_changes_is_told_and_let_go(shop: Shop, address: str) -> None:
    async with listening(address, shop.token(Role.VIEWER)) as events:
        await events.until(lambda _, d: d.get("station") == "north/bay-2")
        (listener,) = shop.board._listeners
        listener._most = 0
        tell(shop, fitness=Fitness.NOT_FIT)
        rest = await events.rest()
    assert rest[-1][0] == "note"
    assert "too slow" in rest[-1][1]["detail"]


async def test_reader_that_reads_nothing_costs_bounded_memory(shop: Shop, address: str) -> None:
    host, port = address.removeprefix("http://").split(":")
    token = shop.token(Role.VIEWER)["Authorization"]
    async with await anyio.connect_tcp(host, int(port)) as stream:
        await stream.send(
            f"GET /api/v1/live HTTP/1.1\r\nHost: x\r\nAuthorization: {token}\r\n\r\n".encode()
        )
        await true(lambda: shop.board.listeners == 1)
        (listener,) = shop.board._listeners
        news = AlarmNews("al1", RAISED)
        while not listener.overrun:
            for _ in range(200):
                listener.change(news)
            assert len(listener._changes) <= MOST_CHANGES
            await anyio.lowlevel.checkpoint()
        assert not listener._changes


async def test_values_are_merged_and_changes_are_not(shop: Shop) -> None:
    with shop.board.listen() as listener:
        tell(shop)
        for value in (1.0, 2.0, 3.0):
            tell(shop, value=value)
        assert [s.values[0].value for s in listener.take()] == [320.0, 3.0]  # type: ignore[union-attr]
        tell(shop, value=4.0)
        tell(shop, fitness=Fitness.NOT_FIT, value=5.0)
        tell(shop, value=6.0)
        kept = [(s.fitness.value, s.values[0].value) for s in listener.take()]  # type: ignore[union-attr]
        assert kept == [("not fit", 5.0), ("fit", 6.0)]


async def test_stream_needs_a_login_and_their_number_is_bounded(
    shop: Shop, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("steadybead_api.live_board.MOST_LISTENERS", 0)
    async with httpx.AsyncClient(base_url=address) as client:
        assert (await client.get("/api/v1/live")).status_code == 401
        full = await client.get("/api/v1/live", headers=shop.token(Role.VIEWER))
    assert full.status_code == 503
    assert full.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        ("north/bay-1/live", b"{"),
        ("north/bay-1/live", b"[]"),
        ("north/bay-1/live", b"\xff"),
        ("north/bay-1/live", b"null"),
        ("north/bay-1/live", b" " * 1_000_001),
        ("north/bay-2/live", live_payload(live_of(BAY_1))),
        ("north/bay-1/alarm/al1", b'{"id":"al1"}'),
        ("north/bay-1/alarm/al1", b"7"),
        ("north/bay-1/live", live_payload(live_of()).replace(b"320.0", b"NaN")),
        ("north/bay-1/live", live_payload(live_of()).replace(b"320.0", b"1e999")),
        ("north/bay-1/live", live_payload(live_of()).replace(b"320.0", b'"hot"')),
        ("north/bay-1/live", live_payload(live_of()).replace(b"320.0", b"9" * 5000)),
        ("north/bay-1/live", b"[" * 100_000),
        ("north/bay-1/alarm/al1", alarm_payload().replace(b"3.5", b"Infinity")),
        ("north/bay-1/other", b"{}"),
        ("nothing", b"{}"),
    ],
)
async def test_payload_that_is_something_else_is_left_aside(
    shop: Shop, topic: str, payload: bytes
) -> None:
    shop.board.take(topic, payload, retained=False)
    snapshot = shop.board.snapshot(shop.clock())
    assert {s.fitness for s in snapshot.stations} == {Fitness.NO_DATA}
    assert snapshot.alarms == ()


async def test_retained_message_of_a_dead_collector_is_not_news(shop: Shop) -> None:
    old = live_of(time=T0 - 3600 * SECOND)
    shop.board.take("north/bay-1/live", live_payload(old), retained=True)
    station = shop.board.snapshot(T0).station(BAY_1)
    assert station is not None
    assert station.reasons == ("no data for 3600 s",)


class Publisher:
    """A collector's stand-in."""

    def __init__(self, url: str) -> None:
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", int(url.rpartition(":")[2]))
        self._client.loop_start()

    def retain(self, topic: str, payload: bytes) -> None:
        self._client.publish(f"steadybead/v1/{topic}", payload, 1, retain=True).wait_for_publish(10)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


async def true(condition: Callable[[], bool], seconds: float = 20) -> None:
    with anyio.fail_after(seconds):
        while not condition():  # noqa: ASYNC110 - neither broker nor server tells us
            await anyio.sleep(0.02)


async def test_feed_follows_a_real_broker_through_its_restart(tmp_path: Path) -> None:
    clock = Clock()
    broker = EmbeddedBroker(tmp_path)
    url = broker.start()
    feed = LiveFeed(MqttSettings(url=url), lambda: PLANT, clock)
    publisher = Publisher(url)
    try:
        publisher.retain("north/bay-1/live", live_payload(live_of()))
        publisher.retain("north/bay-1/alarm/al1", alarm_payload())
        assert not feed.reachable
        feed.start()
        await true(lambda: feed.reachable and bool(feed.snapshot(clock()).alarms))
        station = feed.snapshot(clock()).station(BAY_1)
        assert station is not None
        assert station.fitness is Fitness.FIT
        assert feed.unreachable_since is None
        publisher.close()
        clock.advance(60)
        broker.stop()
        await true(lambda: not feed.reachable)
        assert feed.unreachable_since == T0 + 60 * SECOND
        clock.advance(60)
        assert feed.unreachable_since == T0 + 60 * SECOND
        again = EmbeddedBroker(tmp_path, url.removeprefix("mqtt://"))
        again.start()
        publisher = Publisher(url)
        publisher.retain("north/bay-1/alarm/al1", b"")
        await true(lambda: feed.reachable)
        clock.advance(4)
        await true(lambda: not feed.snapshot(clock()).alarms)
        again.stop()
    finally:
        publisher.close()
        feed.close()
        broker.stop()


async def test_feed_without_a_broker_keeps_trying_and_closes_at_once() -> None:
    feed = LiveFeed(MqttSettings(url="mqtt://127.0.0.1:9"), lambda: PLANT, Clock())
    feed.start()
    assert not feed.reachable
    assert (feed.unreachable_since, feed.address) == (T0, "127.0.0.1:9")
    began = time.monotonic()
    feed.close()
    assert time.monotonic() - began < 3
    assert not any(t.name == "live feed" for t in threading.enumerate())


@needs_mosquitto
@pytest.mark.mosquitto
async def test_feed_keeps_what_a_broker_says_that_refuses_it(tmp_path: Path) -> None:
    extra = f"password_file {tmp_path / 'passwords'}"
    (tmp_path / "passwords").write_text("")
    broker = Mosquitto(tmp_path, extra)
    broker.start()
    feed = LiveFeed(MqttSettings(url=broker.url), lambda: PLANT, Clock())
    try:
        feed.start()
        await true(lambda: feed.refusal == "Not authorized")
        assert feed.unreachable_since == T0
        broker.stop()
        await true(lambda: not feed.refusal)  # nobody is there any more to refuse it
        broker.extra = ""
        broker.start()
        await true(lambda: feed.reachable)
        assert feed.refusal == ""
    finally:
        feed.close()
        broker.stop()

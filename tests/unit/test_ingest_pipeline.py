"""The way from messages to the live topics, with time told by the test."""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from fakes_ingest import NOW, BreakableReadings, MemoryFacts, Sender
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.watch.diagnoses import SAVE_EVERY
from steadybead_collector.watch.publisher import Publisher
from steadybead_collector.watch.punctuality import PERSISTENT_MOST, USUAL_MOST, Punctuality
from steadybead_collector.watch.saved_state import SavedState
from steadybead_domain.alarms.model import ActKind, AlarmAct
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import Fitness, LiveStation, LiveValue
from steadybead_domain.plant import Plant
from steadybead_domain.ports import StoreError
from steadybead_domain.times import MINUTE, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

BAY_2 = StationId("north", "bay-2")
LIVE = "steadybead/v1/north/bay-2/live"
LOUD = 40  # seconds of readings before a silence


@dataclass
class Shop:
    """A pipeline over stores in memory, on a broker that keeps what is retained."""

    plant: Plant
    readings: BreakableReadings = field(default_factory=BreakableReadings)
    facts: MemoryFacts = field(default_factory=MemoryFacts)
    sender: Sender = field(default_factory=lambda: Sender("bay-2"))
    kept: dict[str, bytes] = field(default_factory=dict)
    said: list[tuple[str, bytes]] = field(default_factory=list)
    connected: bool = True
    pipeline: Pipeline = field(init=False)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.pipeline = Pipeline(
            self.plant, "steadybead/v1", self.readings, self.facts, self.publish
        )
        self.pipeline.open()

    def publish(self, topic: str, payload: bytes) -> bool:
        if self.connected:
            self.said.append((topic, payload))
            self.kept[topic] = payload
        return self.connected

    def second(self, number: int, heat: float = 300.0) -> None:
        """Send one second's readings of bay-2 and let the time pass."""
        at = NOW + number * SECOND
        self.sender.now = at + 100_000
        record: dict[str, object] = {"bn": "gun-a/", "n": "nozzle", "t": at / 1e6, "v": heat}
        self.pipeline.feed(
            [
                self.sender.senml(record),
                self.sender.on("shop/meter7", b'{"flow":{"now":300}}'),
                self.sender.on("shop/dial", b"300"),
            ]
        )
        self.quiet(number)

    def quiet(self, number: int) -> None:
        """Let a second pass, in ten steps."""
        for tenth in range(1, 11):
            self.pipeline.tick(NOW + number * SECOND + tenth * SECOND // 10)

    def alarms(self) -> list[dict[str, object]]:
        """List the alarms that the broker keeps for bay-2."""
        prefix = "steadybead/v1/north/bay-2/alarm/"
        return [json.loads(p) for t, p in self.kept.items() if t.startswith(prefix) and p]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(load_plant_file(plant_file(tmp_path)).plant)


def _live(shop: Shop) -> LiveStation:
    return LiveStation.from_json(json.loads(shop.kept[LIVE]))


def test_the_last_values_appear_on_the_live_topic(shop: Shop) -> None:
    for number in range(5):
        shop.second(number, 300.0 + number)
    live = _live(shop)
    assert live.station == BAY_2
    nozzle = next(v for v in live.values if v.channel == "gun-a/nozzle")
    assert (nozzle.value, nozzle.unit, nozzle.quality) == (304.0, "Cel", "good")


def test_without_change_something_is_said_once_a_second(shop: Shop) -> None:
    for number in range(3):
        shop.quiet(number)
    shop.said.clear()
    for number in range(3, 13):
        shop.quiet(number)
    times = [t for t, _ in shop.said if t.endswith("bay-1/live")]
    assert 10 <= len(times) <= 22  # the state of "no data" may also move with its time


def test_a_silent_station_raises_an_alarm_that_is_kept_and_then_cleared(shop: Shop) -> None:
    for number in range(LOUD):
        shop.second(number)
    assert shop.alarms() == []
    for number in range(LOUD, LOUD + 60):
        shop.quiet(number)
    assert any("silen" in str(a["kind"]) for a in shop.alarms())
    silence = next(a for a in shop.alarms() if "silen" in str(a["kind"]))
    alarm = str(silence["id"])
    assert any(key[0] == alarm for key in shop.facts.alarm_facts)
    act = AlarmAct(alarm, ActKind.ACKNOWLEDGE, NOW + (LOUD + 60) * SECOND, "sam")
    shop.facts.changes.append(act)
    for number in range(LOUD + 60, LOUD + 100):
        shop.second(number)
    assert all(a["id"] != alarm for a in shop.alarms())
    assert shop.kept[f"steadybead/v1/north/bay-2/alarm/{alarm}"] == b""


def test_alarm_facts_are_committed_before_anything_is_published(shop: Shop) -> None:
    for number in range(LOUD):
        shop.second(number)
    order: list[str] = []
    add, publish = shop.facts.add_alarm_facts, shop.publish

    def adding(facts: object) -> None:
        order.append("commit")
        add(facts)  # type: ignore[arg-type]

    def publishing(topic: str, payload: bytes) -> bool:
        if "/alarm/" in topic:
            order.append("publish")
        return publish(topic, payload)

    shop.facts.add_alarm_facts = adding  # type: ignore[method-assign]
    shop.pipeline.publisher._publish = publishing
    for number in range(LOUD, LOUD + 60):
        shop.quiet(number)
    assert order[0] == "commit"
    assert "publish" in order


def test_while_the_records_are_out_nothing_is_published_and_nothing_lost(shop: Shop) -> None:
    for number in range(LOUD):
        shop.second(number)
    add = shop.facts.add_alarm_facts

    def out(_facts: object) -> None:
        raise StoreError("the records are out: plug them in")

    shop.facts.add_alarm_facts = out  # type: ignore[method-assign,assignment]
    failures = 0
    for tenth in range(600):
        try:
            shop.pipeline.tick(NOW + LOUD * SECOND + tenth * SECOND // 10)
        except StoreError:
            failures += 1
    assert failures > 100
    assert shop.alarms() == []
    shop.facts.add_alarm_facts = add  # type: ignore[method-assign]
    shop.quiet(LOUD + 61)
    assert len(shop.alarms()) >= 1
    assert {str(a["id"]) for a in shop.alarms()} <= {key[0] for key in shop.facts.alarm_facts}


def _facts_after(shop: Shop, restart_at: int | None, *, lost_state: bool = False) -> set[object]:
    for number in range(LOUD + 60):
        if number < LOUD:
            shop.second(number)
        else:
            shop.quiet(number)
        if number == restart_at:
            if lost_state:
                shop.facts.states.clear()
            shop.restart()
    return {(f.alarm, f.time, f.active, f.kind) for f in shop.facts.alarm_facts.values()}


@pytest.mark.parametrize("restart_at", [5, 33, LOUD + 20, LOUD + 45])
def test_a_restart_changes_no_alarm(shop: Shop, tmp_path: Path, restart_at: int) -> None:
    whole = Shop(load_plant_file(plant_file(tmp_path)).plant)
    assert _facts_after(shop, restart_at) == _facts_after(whole, None)


@pytest.mark.parametrize("tenths", [1, 3, 5, 7, 9, 12, 30])
def test_a_station_off_line_is_one_alarm_over_a_restart(shop: Shop, tenths: int) -> None:
    for number in range(20):
        shop.second(number)
    online = "steadybead/v1/north/bay-2/online"
    gone_at = NOW + 20 * SECOND
    shop.sender.now = gone_at
    shop.pipeline.feed([shop.sender.on(online, b"0")])
    for tenth in range(1, tenths + 1):
        shop.pipeline.tick(gone_at + tenth * SECOND // 10)
    shop.restart()  # without a last word, as after a power cut
    shop.sender.now = gone_at + 8 * SECOND
    shop.pipeline.feed([shop.sender.on(online, b"0", retain=True, backlog=True)])
    for number in range(28, 40):
        shop.quiet(number)
    told = [f for f in shop.facts.alarm_facts.values() if f.kind.startswith("station_offline")]
    assert len({f.alarm for f in told}) == 1
    assert [a["id"] for a in shop.alarms()] == [told[0].alarm]
    assert told[0].time - gone_at <= SECOND


def test_the_journal_is_released_up_to_the_saved_states(shop: Shop) -> None:
    for number in range(30):
        shop.second(number)
    replayable = [position for position, _ in shop.readings.since(0)]
    oldest = min(position for position, _ in shop.facts.states.values())
    assert replayable == list(range(oldest + 1, 31))
    assert len(replayable) <= SAVE_EVERY // SECOND + 2


def test_a_state_that_cannot_be_read_starts_fresh(shop: Shop) -> None:
    shop.facts.states[BAY_2] = (0, b"\x00nonsense")
    shop.restart()
    shop.second(0)
    assert _live(shop).station == BAY_2


def test_alarms_left_on_the_broker_by_an_earlier_run_are_cleared(shop: Shop) -> None:
    left = "steadybead/v1/north/bay-2/alarm/old-one"
    other = "steadybead/v1/north/elsewhere/alarm/x"
    shop.kept |= {left: b"{}", other: b"{}"}
    shop.pipeline.publisher.found(left)
    shop.pipeline.publisher.found(other)
    shop.second(0)
    assert shop.kept[left] == b""
    assert shop.kept[other] == b"{}"


def test_what_could_not_be_sent_is_sent_when_it_can(shop: Shop) -> None:
    shop.connected = False
    shop.second(0)
    assert shop.kept == {}
    shop.connected = True
    shop.second(1)
    assert LIVE in shop.kept


def test_after_a_new_connection_everything_is_said_again(shop: Shop) -> None:
    for number in range(LOUD + 60):
        shop.second(number) if number < LOUD else shop.quiet(number)
    before = {t for t, p in shop.kept.items() if p}
    shop.kept.clear()
    shop.pipeline.publisher.forget()
    shop.quiet(LOUD + 61)
    assert {t for t, p in shop.kept.items() if p} == before


def test_a_weld_over_mqtt_reaches_the_diagnosis_once(shop: Shop) -> None:
    event = {"event": "start", "gun": "a", "time": "2026-05-28T20:26:50Z", "weld": "w1"}
    for number in range(3):
        shop.second(number)
    shop.pipeline.feed([shop.sender.message("weld", json.dumps(event).encode())])
    for number in range(3, 12):
        shop.second(number)
    assert _live(shop).guns[0].weld == "w1"


def test_a_weld_of_a_person_is_followed_so_that_a_scanner_can_stop_it(shop: Shop) -> None:
    shop.facts.changes.append(
        WeldEvent(WeldEventKind.START, "page-1", BAY_2, "a", NOW, "sam", "page")
    )
    stop = {"event": "stop", "gun": "a", "time": "2026-05-28T20:27:00Z"}
    shop.pipeline.feed([shop.sender.message("weld", json.dumps(stop).encode())])
    last = shop.facts.changes[-1]
    assert isinstance(last, WeldEvent)
    assert (last.kind, last.weld) == (WeldEventKind.STOP, "page-1")


def test_while_a_backlog_is_drained_time_stands_at_the_newest_reading(shop: Shop) -> None:
    shop.second(0)
    later = NOW + 10 * MINUTE
    shop.pipeline.tick(later, heard_until=later, draining=True)
    watched = shop.pipeline.diagnoses.watched[BAY_2]
    assert watched.outcome is not None
    assert watched.outcome.live.time <= NOW + SECOND
    shop.pipeline.tick(later + SECOND, heard_until=later + SECOND)
    assert watched.outcome.live.time > NOW + 9 * MINUTE


def test_a_new_station_on_an_old_session_begins_with_its_first_reading(shop: Shop) -> None:
    shop.pipeline.tick(NOW, draining=True)
    shop.sender.now = NOW + SECOND
    record: dict[str, object] = {"bn": "gun-a/", "n": "nozzle", "t": NOW / 1e6, "v": 300.0}
    shop.pipeline.feed([shop.sender.senml(record)])
    shop.pipeline.tick(NOW + SECOND, draining=True)
    shop.pipeline.tick(NOW + 10 * SECOND)
    assert min((f.time for f in shop.facts.alarm_facts.values()), default=NOW) >= NOW
    assert _live(shop).time > NOW


def test_what_a_dead_collector_had_not_acknowledged_is_judged_though_it_comes_last(
    shop: Shop,
) -> None:
    for number in range(5):
        shop.second(number)
    shop.pipeline.close(NOW + 5 * SECOND)
    shop.restart()
    watched = shop.pipeline.diagnoses.watched[BAY_2]
    before = watched.diagnosis.judged_until()
    for number in (8, 9, 5, 6, 7):  # the newest first, then what is sent again
        at = NOW + number * SECOND
        shop.sender.now = NOW + 20 * SECOND + number
        record: dict[str, object] = {"bn": "gun-a/", "n": "nozzle", "t": at / 1e6, "v": 300.0}
        shop.pipeline.feed([replace(shop.sender.senml(record), backlog=True)])
        now = NOW + (20 + number) * SECOND
        shop.pipeline.tick(now, draining=True, settling=True)
        assert watched.diagnosis.judged_until() == before
    assert _live(shop).values[0].time == NOW + 9 * SECOND
    shop.pipeline.tick(NOW + 40 * SECOND, draining=True)
    assert watched.diagnosis.judged_until() > NOW + 8 * SECOND
    assert watched.diagnosis.late == 0


# What is published, and how often


def _station(time: int, value: float, fitness: Fitness = Fitness.FIT) -> LiveStation:
    number = LiveValue("gun-a/nozzle", "nozzle_temperature", time, value, "Cel", "good")
    return LiveStation(BAY_2, time, fitness, values=(number,))


def _published(steps: list[tuple[int, LiveStation]]) -> list[int]:
    said: list[str] = []

    def publish(topic: str, _payload: bytes) -> bool:
        said.append(topic)
        return True

    publisher = Publisher("steadybead/v1", publish)
    counts = []
    for now, live in steps:
        publisher.say(now, live, ())
        counts.append(len(said))
    return counts


def test_values_go_out_at_most_ten_times_a_second() -> None:
    steps = [(NOW + i * 10_000, _station(NOW + i, float(i))) for i in range(300)]
    assert _published(steps)[-1] == 30


def test_a_change_of_state_goes_out_at_once() -> None:
    fit, unfit = _station(NOW, 1.0), _station(NOW, 1.0, Fitness.NOT_FIT)
    assert _published([(NOW, fit), (NOW + 1, unfit), (NOW + 2, fit), (NOW + 3, fit)]) == [
        1,
        2,
        3,
        3,
    ]


def test_the_heartbeat_comes_once_a_second() -> None:
    same = _station(NOW, 1.0)
    steps = [(NOW + i * 100_000, replace(same, time=NOW + i)) for i in range(51)]
    assert _published(steps)[-1] == 6


# How long readings are waited for


def _allowance(delays: list[int]) -> int:
    punctuality = Punctuality()
    for i, delay in enumerate(delays):
        punctuality.heard(NOW + i * SECOND, NOW + i * SECOND - delay)
    return punctuality.allowance()


@pytest.mark.parametrize(
    ("delays", "allowance"),
    [
        ([], 0),
        ([20_000, 50_000], 50_000),
        ([SECOND] * 40, SECOND),
        ([-MINUTE], 0),
        ([20_000] * 10 + [2 * MINUTE], USUAL_MOST),
        ([3 * MINUTE] * 10, 3 * MINUTE),
        ([9 * MINUTE] * 10, PERSISTENT_MOST),
        ([SECOND] + [20_000] * 31, 20_000),
    ],
)
def test_the_allowance_follows_the_sender(delays: list[int], allowance: int) -> None:
    assert _allowance(delays) == allowance


def test_a_sender_that_packs_two_seconds_loses_nothing_to_the_diagnosis(shop: Shop) -> None:
    for pair in range(0, 60, 2):
        at = NOW + pair * SECOND
        shop.sender.now = at + 2 * SECOND
        records: list[dict[str, object]] = [
            {"n": "gun-a/nozzle", "t": at / 1e6 + step / 5, "v": 300.0} for step in range(10)
        ]
        shop.quiet(pair)
        shop.quiet(pair + 1)
        shop.pipeline.feed([shop.sender.senml(*records)])
    late = shop.pipeline.diagnoses.watched[BAY_2].diagnosis.late
    assert late <= 20  # the first packs, until the sender's habit is known


@pytest.mark.parametrize("data", [b"", b"x", b"steadybead-diagnosis \n", b"{}\n{}"])
def test_a_foreign_state_is_told_apart(data: bytes) -> None:
    assert SavedState.from_bytes(data) is None


def test_a_state_survives_its_bytes() -> None:
    state = SavedState(41, b'{"a":"\\n"}\nrest')
    assert SavedState.from_bytes(state.to_bytes()) == state


def test_cold_junctions_are_taken_up_after_a_restart(shop: Shop) -> None:
    shop.sender.station = "bay-1"
    shop.pipeline.feed([shop.sender.senml({"n": "gun-a/terminal", "t": NOW / 1e6, "v": 25.0})])
    shop.restart()
    record: dict[str, object] = {"n": "gun-a/nozzle", "t": NOW / 1e6 + 10, "v": 8.138}
    shop.pipeline.feed([shop.sender.senml(record)])
    nozzle = ChannelId("north", "bay-1", "gun-a/nozzle")
    assert shop.readings.latest([nozzle])[nozzle].value == pytest.approx(225.0, abs=0.2)

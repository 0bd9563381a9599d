"""The shop through a real broker that is not ours."""

import dataclasses
import os
import signal
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from brokers_ingest import free_port
from simulator_broker import MOSQUITTO, Listener, await_port, mosquitto
from steadybead_domain.times import parse_rfc3339
from steadybead_simulator import demo
from steadybead_simulator.broker import BrokerError, Fleet
from steadybead_simulator.messages import messages
from steadybead_simulator.plants import plant_of, plant_text
from steadybead_simulator.run import run_simulator, simulate, start_in_background
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.shop import Shop
from steadybead_simulator.truth import read_truth

pytestmark = [
    pytest.mark.mosquitto,
    pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed"),
]
MONDAY = parse_rfc3339("2026-03-02T00:00:00Z")
FAST = float("inf")


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def url(tmp_path: Path, port: int) -> Iterator[str]:
    with mosquitto(tmp_path, port) as url:
        yield url


def short_demo(seconds: float) -> Scenario:
    return dataclasses.replace(demo.load()[1], start_us=MONDAY, duration_s=seconds)


def test_every_message_arrives_once(url: str, port: int) -> None:
    plant, scenario = demo.load()[0], short_demo(600.0)
    expected = Counter(
        (m.topic, m.payload)
        for s in messages(Shop(plant, scenario, 1, MONDAY), 600.0)
        for m in s.messages
        if m.at < MONDAY + 600_000_000
    )
    with Listener(port) as listener:
        with Fleet(url, plant) as fleet:
            count = simulate(plant, scenario, fleet, seed=1, speed=FAST)
        assert count == expected.total() > 1500
        listener.until(lambda heard: len(heard) >= count + 3, 20.0)
        got = Counter((t, p) for t, p, _ in listener.heard)
        got -= Counter({(f"steadybead/v1/north/bay-{i}/online", b"0"): 1 for i in (1, 2, 3)})
        assert got == expected


def test_background_run_speaks_at_once_and_stops(url: str, port: int) -> None:
    plant, scenario = demo.load()
    with Listener(port) as listener:
        shop = start_in_background(url, plant, scenario)
        stations = {f"steadybead/v1/north/bay-{i}/senml" for i in (1, 2, 3)}
        listener.until(lambda heard: stations <= {t for t, _, _ in heard}, 3.0)
        assert shop.running
        shop.stop()
        assert not shop.running
        assert shop.error is None
        topic = "steadybead/v1/north/bay-1/online"
        listener.until(lambda heard: (topic, b"0", False) in heard, 5.0)
    with Listener(port) as later:
        later.until(lambda heard: (topic, b"0", True) in heard, 5.0)


def files(tmp_path: Path, duration: str, n: int = 1) -> tuple[Path, Path]:
    plant, scenario = tmp_path / "plant.toml", tmp_path / "day.toml"
    plant.write_text(plant_text(plant_of(n)), "utf-8")
    scenario.write_text(
        f'[scenario]\nstart = 2026-03-02T00:00:00Z\nduration = "{duration}"\n'
        '[calendar]\nkind = "loop"\n'
        '[[fault]]\nkind = "silence"\nstation = "bay-1"\nat = "100 s"\nlasts = "50 s"\n',
        "utf-8",
    )
    return plant, scenario


def test_run_from_files_writes_the_truth(url: str, tmp_path: Path) -> None:
    plant, scenario = files(tmp_path, "10 min")
    truth = tmp_path / "truth.parquet"
    assert run_simulator(plant, scenario, url, seed=2, speed=FAST, truth=truth) == 0
    rows = read_truth(truth)
    (silence,) = [r for r in rows if r["kind"] == "silence"]
    assert str(silence["start"]) == "2026-03-02 00:01:40+00:00"
    assert str(silence["end"]) == "2026-03-02 00:02:30+00:00"
    assert {r["what"] for r in rows} == {"fault", "act", "weld", "state"}
    assert sorted(p.name for p in tmp_path.glob("truth*")) == ["truth.parquet"]


def test_stop_event_ends_a_paced_run(url: str, port: int, tmp_path: Path) -> None:
    plant, scenario = files(tmp_path, "1 d")
    stop, codes = threading.Event(), list[int]()
    with Listener(port) as listener:
        thread = threading.Thread(
            target=lambda: codes.append(run_simulator(plant, scenario, url, stop=stop))
        )
        thread.start()
        listener.until(lambda heard: any(t.endswith("senml") for t, _, _ in heard), 5.0)
        stop.set()
        thread.join(5.0)
    assert codes == [0]


KILLED = """
import sys
from pathlib import Path
from steadybead_simulator.run import run_simulator
run_simulator(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
"""


def test_last_will_says_off_line_when_the_process_is_killed(
    url: str, port: int, tmp_path: Path
) -> None:
    plant, scenario = files(tmp_path, "1 d")
    paths = os.pathsep.join(p for p in sys.path if p)
    with Listener(port) as listener:
        process = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(plant), str(scenario), url],
            env={**os.environ, "PYTHONPATH": paths},
        )
        online = "steadybead/v1/north/bay-1/online"
        listener.until(lambda heard: (online, b"1", False) in heard, 20.0)
        process.send_signal(signal.SIGKILL)
        process.wait(10)
        listener.until(lambda heard: (online, b"0", False) in heard, 10.0)


def test_a_broker_that_comes_back_gets_everything_kept(tmp_path: Path, port: int) -> None:
    plant, scenario = demo.load()[0], short_demo(300.0)
    steps = messages(Shop(plant, scenario, 1, MONDAY), 300.0)
    stream = [m for s in steps for m in s.messages][:300]
    with mosquitto(tmp_path, port) as url:
        fleet = Fleet(url, plant)
        fleet.__enter__()
        for message in stream[:100]:
            fleet.publish(message)
    for message in stream[100:]:
        fleet.publish(message)
    assert fleet.acknowledged < 300
    with mosquitto(tmp_path, port), Listener(port) as listener:
        wanted = {m.payload for m in stream[100:] if m.topic.endswith("senml")}
        listener.until(lambda heard: wanted <= {p for _, p, _ in heard}, 30.0)
        fleet.close()
        assert fleet.unacknowledged() == 0


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("http://127.0.0.1:1", "write it as mqtt://"),
        ("mqtt://127.0.0.1:99999", "the port is a number"),
        ("mqtt://127.0.0.1:1", "no broker at 127.0.0.1:1"),
        ("", "write it as mqtt://"),
        ("mqtt//who:secret@127.0.0.1:1", "'127.0.0.1:1': write it as mqtt://"),
    ],
)
def test_a_bad_broker_is_one_line_and_exit_2(
    url: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant, scenario = files(tmp_path, "1 min")
    assert run_simulator(plant, scenario, url, truth=tmp_path / "t.parquet") == 2
    err = capsys.readouterr().err
    assert says in err
    assert err.count("\n") == 1
    assert "secret" not in err
    assert not (tmp_path / "t.parquet").exists()


def test_a_bad_scenario_is_one_line_and_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant, scenario = files(tmp_path, "1 parsec")
    assert run_simulator(plant, scenario, "mqtt://127.0.0.1:1") == 2
    err = capsys.readouterr().err
    assert "day.toml, line 3" in err
    assert err.count("\n") == 1


def test_a_truth_file_that_cannot_be_written_is_one_line_and_exit_2(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant, scenario = files(tmp_path, "1 min")
    truth = tmp_path / "nowhere" / "truth.parquet"
    assert run_simulator(plant, scenario, url, speed=FAST, truth=truth) == 2
    err = capsys.readouterr().err
    assert "nowhere" in err
    assert err.count("\n") == 1


def test_a_wrong_speed_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plant, scenario = files(tmp_path, "1 min")
    assert run_simulator(plant, scenario, "mqtt://127.0.0.1:1", speed=0.0) == 2
    assert "above 0" in capsys.readouterr().err


def test_a_fleet_needs_a_broker_that_lets_it_in(tmp_path: Path, port: int) -> None:
    conf = tmp_path / "closed.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous false\n", "utf-8")
    assert MOSQUITTO is not None
    process = subprocess.Popen(
        [MOSQUITTO, "-c", str(conf)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        await_port(port, process)
        with (
            pytest.raises(BrokerError, match="refuses"),
            Fleet(f"mqtt://127.0.0.1:{port}", plant_of(1)),
        ):
            pass
    finally:
        process.terminate()
        process.wait(10)


@pytest.mark.slow
def test_a_thousand_stations_connect_and_speak(url: str, port: int) -> None:
    plant = plant_of(1000, level="least")
    scenario = dataclasses.replace(short_demo(3.0), faults=())
    with Listener(port) as listener:
        with Fleet(url, plant) as fleet:
            count = simulate(plant, scenario, fleet, seed=1, speed=FAST)
        assert count > 3000
        listener.until(lambda heard: len(heard) >= count + 1000, 30.0)
        assert len({t for t, _, _ in listener.heard if t.endswith("senml")}) == 1000

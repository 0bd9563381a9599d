"""From a sensor to a mail: a simulated fault, the embedded broker, the product, a real receiver."""

import time
from pathlib import Path

from brokers_ingest import until
from receivers_notify import Mailbox, mail_server, secret
from steadybead_collector.config import load_plant_file
from steadybead_domain.times import HOUR, format_rfc3339
from steadybead_simulator.run import start_in_background
from steadybead_simulator.scenario_file import read_scenario
from whole_process import PLANT, Server, call, server

SCENARIO = """
[scenario]
title = "A hose comes off"
sample = "0.5 s"
pack = "0.5 s"
[calendar]
kind = "loop"
cycle = "600 s"
[[welder]]
name = "w-1"
warm_up = "105 s"
forgets_start = 0.0
forgets_stop = 0.0
stops_air_early = 0.0
[[station]]
id = "bay-1"
set = "320 Cel"
phase = "125 s"
[[fault]]
kind = "air_lost"
station = "bay-1"
gun = "a"
size = "95 %"
at = "8 s"
lasts = "60 s"
"""
NOTIFY = """
[[notify]]
name = "welders"
url_file = "welders.url"
roles = ["welder"]
group_s = 1
"""


def plant_with_mail(folder: Path, box: Mailbox) -> Path:
    secret(folder, "welders.url", box.address)
    path = folder / "plant.toml"
    path.write_text(PLANT.format(mqtt='[mqtt]\nlisten = "127.0.0.1:0"') + NOTIFY, "utf-8")
    (folder / "scenario.toml").write_text(SCENARIO, "utf-8")
    return path


def alarms(running: Server) -> dict[str, str]:
    items = running.client.get("api/v1/alarms").json()["items"]
    return {a["kind"]: a["id"] for a in items}


def states(running: Server) -> set[str]:
    return {n["state"] for n in running.client.get("api/v1/notices").json()["items"]}


def told_of_air(box: Mailbox) -> list[str]:
    """List the mails on the lost air; others may follow, as when the station falls silent."""
    subjects = [str(mail["Subject"]) for mail in box.mails]
    return [s for s in subjects if "no air while the heat is on" in s]


def put_away(running: Server, plant_file: Path, alarm: str) -> str:
    """Shelve the alarm as somebody from maintenance; give the end of the shelf."""
    data = str(plant_file.parent / "data")
    words = ("token", "--role", "maintenance", "--config", str(plant_file), "--data", data)
    token = call(*words).stdout.strip()
    until_then = format_rfc3339(time.time_ns() // 1000 + HOUR)
    answer = running.client.post(
        f"api/v1/alarms/{alarm}/shelve",
        json={"until": until_then, "reason": "hose is on its way"},
        headers={"Authorization": f"Bearer {token}"},
    )
    assert answer.json()["state"] == "shelved", answer.text
    return until_then


def test_air_lost_reaches_the_welders_mailbox_once_also_over_a_restart(tmp_path: Path) -> None:
    with mail_server() as box:
        plant_file = plant_with_mail(tmp_path, box)
        words = ("run", "--config", str(plant_file), "--data", str(tmp_path / "data"))
        with server(*words, "--port", "0") as running:
            broker = running.line.split()[-1]
            plant = load_plant_file(plant_file).plant
            shop = start_in_background(
                broker, plant, read_scenario(tmp_path / "scenario.toml", plant), 1
            )
            try:
                until(lambda: "air_lost_heat_on" in alarms(running), 60.0)
                until(lambda: box.mails, 30.0)
                until(lambda: states(running) == {"delivered"}, 30.0)
            finally:
                shop.stop()
            alarm = alarms(running)["air_lost_heat_on"]
            assert "Cut the heat at once" in box.mails[0].as_string()
            assert running.client.get(f"alarms/{alarm}").status_code == 200
            metrics = running.client.get("metrics").text
            assert "steadybead_notices_delivered_total" in metrics
            assert "welders" not in metrics
            assert len(told_of_air(box)) == 1
            shelf = put_away(running, plant_file, alarm)
            running.kill()
        with server(*words, "--port", "0") as again:
            until(lambda: alarm in alarms(again).values(), 30.0)
            stands = again.client.get(f"api/v1/alarms/{alarm}").json()
            assert (stands["state"], stands["shelved_until"]) == ("shelved", shelf)
            assert len(told_of_air(box)) == 1
            notices = again.client.get("api/v1/notices").json()["items"]
            assert [n["state"] for n in notices if alarm in n["alarms"]] == ["delivered"]
    checked = call("check", "--config", str(plant_file), "--seconds", "1")
    assert checked.stdout.splitlines()[0].startswith("receiver   welders  address in welders.url")
    assert "127.0.0.1:" not in checked.stdout.splitlines()[0]

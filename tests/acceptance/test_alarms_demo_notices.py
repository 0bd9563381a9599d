"""The demo's first minutes, from its simulated sensors to the folder of its receivers."""

from email import message_from_bytes
from email.policy import default
from importlib.resources import as_file, files
from pathlib import Path

from simulated_shop import MONDAY
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.notify.opening import notifier_of
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.times import HOUR, MINUTE, SECOND
from steadybead_simulator import demo
from steadybead_simulator.history import history

START = MONDAY + 9 * HOUR
STEP = 5 * SECOND


class Clock:
    now = START

    def __call__(self) -> int:
        return self.now


def five_minutes(plant_file: PlantFile, records: Records, data_dir: Path) -> None:
    """Play the demo on virtual time, with the notifier that the plant file asks for."""
    clock = Clock()
    notifier = notifier_of(plant_file, records.notices, data_dir, clock)
    assert notifier is not None
    notifier.open()
    plant, scenario = demo.load()
    procedures = {p.id: p for p in read_procedures()}
    stations = {s.id: StationDiagnosis(s, procedures) for s in plant.stations}
    for block in history(plant, scenario, 1, START, START + 5 * MINUTE):
        events = sorted(block.weld_events, key=lambda event: event.time)
        for now in range(block.received - 5 * MINUTE, block.received + 1, STEP):
            while events and events[0].time <= now:
                event = events.pop(0)
                stations[event.station].note(event)
            for station, diagnosis in stations.items():
                diagnosis.push(
                    {
                        channel: rows.take((rows.time > now - STEP) & (rows.time <= now))
                        for channel, rows in block.columns.items()
                        if channel.station_id == station
                    }
                )
                notifier.hear(station, diagnosis.advance(now).alarms)
            clock.now = now
            notifier.turn(now)
            notifier.deliver()


def test_the_shop_floor_is_told_and_the_shift_leader_if_nobody_acknowledges(
    tmp_path: Path,
) -> None:
    with as_file(files("steadybead_simulator") / "demo") as folder:
        plant_file = load_plant_file(folder / "plant.toml")
    records = open_records("sqlite", tmp_path)
    try:
        five_minutes(plant_file, records, tmp_path)
        sent = {s.notice.id: s for s in records.notices.page(100).items}
    finally:
        records.close()
    assert all(s.state == "delivered" for s in sent.values())
    mails = [
        message_from_bytes(path.read_bytes(), policy=default)
        for path in sorted((tmp_path / "messages").iterdir())
    ]
    assert len(mails) == len(sent)
    of_air = [m for m in mails if "no air while the heat is on" in str(m["Subject"])]
    told = [str(m["X-Receiver"]) for m in of_air]
    assert told == ["shop floor", "shift leader, if nobody acknowledges"]

"""Weld records that begin and end by the gun's state."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from fakes_ingest import NOW, MemoryFacts, Sender
from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.automatic_records import BEGINS_AFTER, ENDS_AFTER, automatic_events
from steadybead_domain.ids import StationId
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind, fold

BAY = StationId("north", "bay-2")
PLANT = """
[site]
id = "north"
timezone = "Europe/Lisbon"
[[station]]
id = "bay-2"
procedure = "pp-speed-nozzle"
weld_records = "automatic"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
"""
STAND = """
[[station.channel]]
id = "gun-a/stand"
quantity = "in_stand"
unit = "/"
"""


def told(
    state: GunState, for_us: int, weld: str | None = None, stopped: int | None = None
) -> list[WeldEvent]:
    since = NOW - for_us
    gun = LiveGun("a", state, since, weld, "pp-speed-nozzle")
    live = LiveStation(BAY, NOW, Fitness.FIT, (), (gun,))
    return list(automatic_events(live, lambda _station, _gun: stopped))


def test_a_gun_that_welds_without_a_record_begins_one_where_the_welding_began() -> None:
    [event] = told(GunState.WELDING, BEGINS_AFTER)
    assert (event.kind, event.time, event.via) == (
        WeldEventKind.START,
        NOW - BEGINS_AFTER,
        "automatic",
    )
    assert event.procedure == "pp-speed-nozzle"
    assert told(GunState.WELDING, BEGINS_AFTER) == [event]  # the same look, the same id


def test_a_short_lift_and_a_hot_gun_of_unknown_use_begin_nothing() -> None:
    assert told(GunState.WELDING, BEGINS_AFTER - 1) == []
    assert told(GunState.HOT, 10 * BEGINS_AFTER) == []
    assert told(GunState.READY, 10 * BEGINS_AFTER) == []


def test_who_stopped_a_record_in_the_middle_has_stopped_it() -> None:
    assert told(GunState.WELDING, 60 * SECOND, stopped=NOW - 30 * SECOND) == []
    assert len(told(GunState.WELDING, 60 * SECOND, stopped=NOW - 90 * SECOND)) == 1


@pytest.mark.parametrize("state", [GunState.READY, GunState.COOLING, GunState.OFF])
def test_a_record_of_its_own_ends_where_the_rest_began(state: GunState) -> None:
    assert told(state, ENDS_AFTER - 1, "auto-x") == []
    [event] = told(state, ENDS_AFTER, "auto-x")
    assert (event.kind, event.weld, event.time) == (
        WeldEventKind.STOP,
        "auto-x",
        NOW - ENDS_AFTER,
    )


def test_a_record_that_somebody_started_is_left_alone() -> None:
    assert told(GunState.READY, 10 * ENDS_AFTER, "w-1") == []
    assert told(GunState.WELDING, 10 * ENDS_AFTER, "w-1") == []


def test_a_silent_gun_ends_nothing() -> None:
    assert told(GunState.NO_DATA, 10 * ENDS_AFTER, "auto-x") == []


def test_without_a_channel_that_tells_the_plant_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT, "utf-8")
    with pytest.raises(PlantFileError, match=r"line 8.*in_stand or gun_motion"):
        load_plant_file(path)


@dataclass
class Shop:
    """One gun on one pipeline, second by second."""

    pipeline: Pipeline
    facts: MemoryFacts
    sender: Sender = field(default_factory=lambda: Sender("bay-2"))
    at: int = NOW

    def go(self, seconds: int, *, stand: float) -> None:
        for _ in range(seconds):
            self.at += SECOND
            self.sender.now = self.at + 50_000
            values = {"nozzle": 320.0, "flow": 52.0, "stand": stand}
            time = self.at / SECOND
            records = [{"n": f"gun-a/{n}", "t": time, "v": v} for n, v in values.items()]
            self.pipeline.feed([self.sender.senml(*records)])
            self.pipeline.tick(self.at + 200_000)
            self.pipeline.tick(self.at + 700_000)

    def welds(self) -> list[WeldEvent]:
        return [c for c in self.facts.changes if isinstance(c, WeldEvent)]


def test_from_readings_to_a_record_and_its_end(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT + STAND, "utf-8")
    plant_file = load_plant_file(path)
    facts = MemoryFacts(changes=list(read_procedures()))
    pipeline = Pipeline(
        plant_file.plant, "steadybead/v1", MemoryReadings(), facts, lambda _topic, _payload: True
    )
    pipeline.open()
    shop = Shop(pipeline, facts)
    shop.go(20, stand=1.0)
    assert shop.welds() == []
    lifted = shop.at
    shop.go(30, stand=0.0)
    [begun] = shop.welds()
    assert abs(begun.time - lifted) <= 2 * SECOND
    shop.go(40, stand=1.0)  # a rod is changed
    shop.go(20, stand=0.0)
    rested = shop.at
    shop.go(ENDS_AFTER // SECOND + 15, stand=1.0)
    [weld] = fold(shop.welds()).values()
    assert weld.id.startswith("auto-")
    assert weld.stop is not None
    assert abs(weld.stop - rested) <= 3 * SECOND
    assert (weld.started_by, weld.procedure) == ("gun state", "pp-speed-nozzle")

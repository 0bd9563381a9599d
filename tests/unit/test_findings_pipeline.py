"""A filter that fills, from messages to findings: written once, also over a restart."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from fakes_ingest import NOW, MemoryFacts, Sender, ignore
from plants_ingest import PLANT, plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.diagnosis import filter_watch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.plant import Plant
from steadybead_domain.ports import StoreError
from steadybead_domain.times import HOUR, MINUTE, SECOND

DROP = '[[station.channel]]\nid = "blower/drop"\nquantity = "filter_pressure_drop"\nunit = "Pa"\n'
BAY_1 = StationId("north", "bay-1")
LIFE = 160  # minutes
AHEAD = 20 * SECOND


@pytest.fixture(autouse=True)
def fast_filter(monkeypatch: pytest.MonkeyPatch) -> None:
    """This filter lives less than three hours: do not wait a shift before the first forecast."""
    monkeypatch.setattr(filter_watch, "LEAST_SEEN", 0)


@dataclass
class Shop:
    """A pipeline over stores in memory; a filter that fills within the hours."""

    plant: Plant
    readings: MemoryReadings = field(default_factory=MemoryReadings)
    facts: MemoryFacts = field(default_factory=MemoryFacts)
    sender: Sender = field(default_factory=Sender)
    pipeline: Pipeline = field(init=False)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        """Begin again from the stores, as after a kill."""
        self.pipeline = Pipeline(self.plant, "steadybead/v1", self.readings, self.facts, ignore)
        self.pipeline.open()

    def minute(self, number: int, age: int | None = None) -> None:
        """Send a minute's readings of a filter as old as that, at 0.1 Hz; judge them."""
        share = (number if age is None else age) / LIFE
        self.sender.now = NOW + (number + 1) * MINUTE
        records: list[dict[str, object]] = []
        for step in range(6):
            at = (NOW + number * MINUTE) / 1e6 + 10 * step
            wave = 0.8 * (-1) ** step
            records += [
                {"n": "blower/drop", "t": at, "v": 40.0 * 8.0**share + wave},
                {"n": "gun-a/flow", "t": at, "v": 12.0},
            ]
        self.pipeline.feed([self.sender.senml(*records)])
        self.pipeline.tick(NOW + (number + 1) * MINUTE + AHEAD)

    def told(self, prefix: str = "filter_") -> list[Finding]:
        """List what was told, in order."""
        found = [f for f in self.facts.findings.values() if f.kind.startswith(prefix)]
        return sorted(found, key=lambda f: f.time)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    before, bay_1, bay_2 = PLANT.split("[[station]]")
    text = "[[station]]".join([before, bay_1 + DROP, bay_2])
    return Shop(load_plant_file(plant_file(tmp_path, text)).plant)


def test_findings_of_a_filter_that_fills_are_written(shop: Shop) -> None:
    for number in range(LIFE):
        shop.minute(number)
    told = shop.told()
    assert {"filter_forecast", "filter_due", "filter_limit"} <= {f.kind for f in told}
    forecast = next(f for f in told if f.kind == "filter_forecast")
    assert (forecast.station, forecast.threshold) == (BAY_1, 250.0)
    assert dict(forecast.evidence)["remaining_h"] is not None


def test_no_forecast_is_told_in_the_first_shift_of_running(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(filter_watch, "LEAST_SEEN", 8 * HOUR)
    for number in range(LIFE):
        shop.minute(number)
    kinds = {f.kind for f in shop.told()}
    assert "filter_limit" in kinds
    assert not kinds & {"filter_forecast", "filter_due"}


def test_a_restart_neither_loses_nor_doubles_findings(shop: Shop) -> None:
    other = Shop(shop.plant)
    for number in range(LIFE):
        shop.minute(number)
        other.minute(number)
        if number in (31, 90, 91, 149):
            other.restart()
    assert len(shop.told()) >= 3
    assert other.told() == shop.told()


def test_a_finding_that_could_not_be_written_is_written_later(shop: Shop) -> None:
    number = 0
    while not shop.facts.findings:
        before = shop.facts.findings.copy()
        shop.facts.calls.clear()
        shop.minute(number)
        number += 1
        assert number < LIFE
    assert before == {}
    assert "add_findings" in shop.facts.calls
    first = shop.told()
    shop.facts.findings.clear()
    shop.pipeline._untold = list(first)
    shop.facts.broken = 1
    with pytest.raises(StoreError):
        shop.pipeline.close(NOW + (number + 1) * MINUTE)
    assert shop.facts.findings == {}
    shop.pipeline.close(NOW + (number + 1) * MINUTE)
    assert shop.told() == first


@pytest.mark.parametrize("work", list(FilterWork))
def test_a_recorded_change_begins_the_forecast_anew(shop: Shop, work: FilterWork) -> None:
    for number in range(120):
        shop.minute(number)
    tracker = shop.pipeline.diagnoses.watched[BAY_1].diagnosis.filter.tracker
    assert tracker.x - tracker.began > 100 * 60
    at = NOW + 120 * MINUTE
    shop.facts.changes.append(FilterChange(BAY_1, at, work, "fc-1", "sam", at))
    for number in range(120, 130):
        shop.minute(number, number - 120 if work.value != "inspected" else number)
    passed = tracker.x - tracker.began
    assert (passed < 20 * 60) is (work is not FilterWork.INSPECTED)

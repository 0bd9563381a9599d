"""What a newcomer sees in the first five minutes of the demo, on virtual time."""

from typing import TYPE_CHECKING

from simulated_shop import MONDAY
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.live import GunState
from steadybead_domain.times import MINUTE, SECOND
from steadybead_simulator import demo
from steadybead_simulator.history import history

if TYPE_CHECKING:
    from steadybead_domain.alarms.model import AlarmFact
    from steadybead_domain.ids import StationId

STEP = SECOND // 2


def test_states_and_alarms_come_and_go_by_themselves() -> None:
    plant, scenario = demo.load()
    procedures = {p.id: p for p in read_procedures()}
    stations = {s.id: StationDiagnosis(s, procedures) for s in plant.stations}
    facts: dict[StationId, list[AlarmFact]] = {s: [] for s in stations}
    states: set[GunState] = set()
    for block in history(plant, scenario, 1, MONDAY, MONDAY + 5 * MINUTE):
        events = sorted(block.weld_events, key=lambda event: event.time)
        for now in range(block.received - 5 * MINUTE, block.received + 1, STEP):
            while events and events[0].time <= now:
                event = events.pop(0)
                stations[event.station].note(event)
            for station, diagnosis in stations.items():
                mine = {
                    channel: columns.take((columns.time > now - STEP) & (columns.time <= now))
                    for channel, columns in block.columns.items()
                    if channel.station_id == station
                }
                diagnosis.push({c: part for c, part in mine.items() if len(part)})
                outcome = diagnosis.advance(now)
                facts[station] += outcome.facts
                states |= {gun.state for gun in outcome.live.guns}
    assert {GunState.WARMING, GunState.WELDING, GunState.COOLING} <= states
    for station, told in facts.items():
        raised = {fact.alarm for fact in told if fact.active}
        cleared = {fact.alarm for fact in told if not fact.active}
        assert raised, f"{station}: no alarm came"
        assert raised & cleared, f"{station}: no alarm went"
    kinds = {fact.kind for told in facts.values() for fact in told}
    assert "air_lost_heat_on" in kinds

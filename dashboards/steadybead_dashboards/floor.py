"""The floor page: every station in one look."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from steadybead_dashboards.alarm_cards import AlarmCard, alarm_cards
from steadybead_dashboards.finding_cards import FindingLine, lines_by_station
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.tiles import Tile, tile
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.diagnosis.standing import Standing
from steadybead_domain.ids import StationId
from steadybead_domain.live import Fitness, LiveStation
from steadybead_domain.plant import Plant


@dataclass(frozen=True, slots=True)
class FloorPage:
    """All stations in plant-file order, and what needs a person now."""

    template: ClassVar[str] = "floor.html"
    shell: Shell
    tiles: tuple[Tile, ...]
    alarms: tuple[AlarmCard, ...]
    fit: int
    findings: Mapping[str, tuple[FindingLine, ...]] = field(default_factory=dict)


def floor_page(
    plant: Plant,
    live: Mapping[StationId, LiveStation],
    alarms: Iterable[Alarm],
    shell: Shell,
    findings: Iterable[Standing] = (),
) -> FloorPage:
    """Build the floor page; `findings` are those that stand."""
    cards = alarm_cards(alarms, plant, shell)
    alarmed = {card.station for card in cards if card.presses}
    tiles = tuple(
        tile(s, live.get(s.id), shell, has_alarm=str(s.id) in alarmed) for s in plant.stations
    )
    fit = sum(t.fitness is Fitness.FIT for t in tiles)
    return FloorPage(shell, tiles, cards, fit, lines_by_station(findings))

"""The floor page: every station in one look."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from steadybead_dashboards.alarm_cards import AlarmCard, alarm_cards
from steadybead_dashboards.finding_cards import FindingLine, lines_by_station
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import day_start
from steadybead_dashboards.tiles import Tile, tile
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.diagnosis.standing import Standing
from steadybead_domain.ids import StationId
from steadybead_domain.live import Fitness, LiveStation
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.welds import Weld

MOST_OF_TODAY = 12


@dataclass(frozen=True, slots=True)
class Today:
    """The weld records that began today: how many, how many run, and the latest of them."""

    count: int
    running: int
    rows: tuple[WeldRow, ...]
    verdicts: Mapping[str, str]
    more: bool


@dataclass(frozen=True, slots=True)
class FloorPage:
    """All stations in plant-file order, what needs a person now, and today's welds."""

    template: ClassVar[str] = "floor.html"
    shell: Shell
    tiles: tuple[Tile, ...]
    alarms: tuple[AlarmCard, ...]
    fit: int
    findings: Mapping[str, tuple[FindingLine, ...]] = field(default_factory=dict)
    today: Today | None = None


def floor_page(
    plant: Plant,
    live: Mapping[StationId, LiveStation],
    alarms: Iterable[Alarm],
    shell: Shell,
    findings: Iterable[Standing] = (),
    today: Today | None = None,
) -> FloorPage:
    """Build the floor page; `findings` are those that stand."""
    cards = alarm_cards(alarms, plant, shell)
    alarmed = {card.station for card in cards if card.presses}
    tiles = tuple(
        tile(s, live.get(s.id), shell, has_alarm=str(s.id) in alarmed) for s in plant.stations
    )
    fit = sum(t.fitness is Fitness.FIT for t in tiles)
    return FloorPage(shell, tiles, cards, fit, lines_by_station(findings), today)


def todays_welds(
    plant: Plant,
    welds: Sequence[Weld],
    procedures: Mapping[str, Procedure],
    verdicts: Mapping[str, tuple[str, int]],
    shell: Shell,
    *,
    more: bool = False,
) -> Today:
    """Sum up the records of today, newest first; `more`: there are more than were given."""
    rows = tuple(weld_row(w, plant, procedures, shell) for w in welds[:MOST_OF_TODAY])
    words = {name: word for name, (word, _) in verdicts.items()}
    return Today(len(welds), sum(w.stop is None for w in welds), rows, words, more)


def today_began(shell: Shell) -> int:
    """Tell in µs when today began at the site."""
    return day_start(shell.now, shell.zone)

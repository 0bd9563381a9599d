"""The station page: for the welder, on a phone, with gloves on."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.alarm_cards import AlarmCard, alarm_cards
from steadybead_dashboards.finding_cards import FindingLine, lines_by_station
from steadybead_dashboards.sensor_words import expanded_text
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.tiles import GunView, Tile, tile
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_dashboards.words import GUN_MAIN, QUANTITIES, START_HINTS, START_OUTSIDE
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.diagnosis.standing import Standing
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Plant, Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.welds import Weld


@dataclass(frozen=True, slots=True)
class Doubt:
    """What a gun's newest value is worth: U, and the page that lists its terms."""

    label: str
    expanded: str
    href: str


@dataclass(frozen=True, slots=True)
class Bench:
    """A gun with the weld record that runs on it, if one does, and U of its values."""

    gun: GunView
    running: WeldRow | None
    doubts: tuple[Doubt, ...] = ()

    @property
    def start_hint(self) -> str:
        """What a record started now would show of the gun; empty where it is fit for one."""
        outside = any(row.abnormal for row in self.gun.main)
        return START_HINTS.get(self.gun.state, START_OUTSIDE if outside else "")


@dataclass(frozen=True, slots=True)
class StationPage:
    """One station with its guns, alarms and the procedures to choose from."""

    template: ClassVar[str] = "station.html"
    shell: Shell
    tile: Tile
    benches: tuple[Bench, ...]
    alarms: tuple[AlarmCard, ...]
    procedures: tuple[Procedure, ...]
    own_procedure: str
    recent: tuple[WeldRow, ...]
    findings: tuple[FindingLine, ...] = ()


def station_page(
    plant: Plant,
    station: Station,
    live: LiveStation | None,
    shell: Shell,
    *,
    alarms: Iterable[Alarm],
    procedures: Mapping[str, Procedure],
    welds: Iterable[Weld],
    budgets: Mapping[ChannelId, Budget] | None = None,
    findings: Iterable[Standing] = (),
) -> StationPage:
    """Build the page; `welds` are those of this station, open ones and the latest, newest first.

    `budgets` are those of the newest values, by channel; `findings` those that stand here.
    """
    cards = alarm_cards((a for a in alarms if a.raised.station == station.id), plant, shell)
    shown = tile(station, live, shell, has_alarm=any(card.presses for card in cards))
    rows = [weld_row(w, plant, procedures, shell) for w in welds]
    running = {row.gun: row for row in reversed(rows) if row.running}
    return StationPage(
        shell,
        shown,
        tuple(
            Bench(gun, running.get(gun.gun), _doubts(station, gun.gun, budgets or {}))
            for gun in shown.guns
        ),
        cards,
        tuple(sorted(procedures.values(), key=lambda p: p.title)),
        station.procedure or "",
        tuple(row for row in rows if not row.running)[:5],
        lines_by_station(findings).get(str(station.id), ()),
    )


def _doubts(station: Station, gun: str, budgets: Mapping[ChannelId, Budget]) -> tuple[Doubt, ...]:
    found = [c for q in GUN_MAIN if (c := station.channel_of(q, gun)) is not None]
    return tuple(
        Doubt(
            QUANTITIES[c.quantity].label,
            expanded_text(budgets[c.id].expanded, c.quantity),
            f"/sensors/{c.id}",
        )
        for c in found
        if c.id in budgets
    )

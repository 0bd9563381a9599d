"""Faults at random over a plant, one after another at each station, for scoring a diagnosis."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from steadybead_domain.plant import Plant, Station
from steadybead_simulator.faults import KINDS, Fault, FaultKind, Seat
from steadybead_simulator.randomness import stream

_H, _DAY = 3600.0, 86_400.0
WORK = (8.5 * _H, 14.0 * _H)  # onsets, so that somebody is at work


@dataclass(frozen=True, slots=True)
class Typical:
    """How a kind usually comes: size from–to, growing for and staying for so many s from–to.

    `both`: a size may be below zero, too. All of it is assumption.
    """

    size: tuple[float, float] = (1.0, 1.0)
    grows: tuple[float, float] = (0.0, 0.0)
    stays: tuple[float, float] = (0.5 * _H, 5.0 * _H)
    both: bool = False


_SLOW = (2 * _DAY, 9 * _DAY)
_DAYS = (3 * _DAY, 12 * _DAY)
_SHORT = (20.0, 180.0)
TYPICAL = {
    "filter_loading": Typical((4.0, 20.0), stays=_DAYS),
    "filter_blockage": Typical((80.0, 900.0)),
    "filter_missing": Typical(stays=(0.5 * _DAY, 3 * _DAY)),
    "filter_torn": Typical((20.0, 80.0), stays=_DAYS),
    "filter_tapped_out": Typical((30.0, 80.0), stays=(1.0, 1.0)),
    "blower_wear": Typical((6.0, 25.0), _SLOW, _DAYS),
    "hose_leak": Typical((10.0, 60.0)),
    "supply_sag": Typical((8.0, 30.0)),
    "hose_off": Typical(stays=_SHORT),
    "air_lost": Typical((60.0, 100.0), stays=_SHORT),
    "nozzle_clogged": Typical((15.0, 60.0)),
    "air_stopped_before_cool": Typical(stays=(300.0, 900.0)),
    "element_ageing": Typical((5.0, 25.0), _SLOW, _DAYS),
    "element_break": Typical(),
    "thermocouple_offset": Typical((4.0, 25.0), _SLOW, _DAYS, both=True),
    "thermocouple_gain": Typical((1.5, 8.0), _SLOW, _DAYS, both=True),
    "tip_moved": Typical((2.0, 9.0), stays=_DAYS),
    "open_circuit": Typical(),
    "intermittent": Typical((2.0, 30.0)),
    "stuck": Typical(),
    "swapped_leads": Typical(),
    "wrong_type": Typical(),
    "flow_meter_drift": Typical((4.0, 20.0), _SLOW, _DAYS, both=True),
    "flow_meter_zero": Typical((1.0, 6.0), _SLOW, _DAYS, both=True),
    "pressure_zero": Typical((10.0, 80.0), _SLOW, _DAYS, both=True),
    "tube_off": Typical(stays=(0.5 * _DAY, 4 * _DAY)),
    "channel_silence": Typical(stays=(60.0, _H)),
    "silence": Typical(stays=(60.0, _H)),
    "link_outage": Typical(stays=(60.0, _H)),
    "clock_offset": Typical((2.0, 600.0), both=True),
    "message_loss": Typical((5.0, 60.0)),
    "duplicate_device": Typical(),
}


def random_faults(
    plant: Plant, seed: int, days: int, kinds: tuple[str, ...] = tuple(KINDS)
) -> tuple[Fault, ...]:
    """Draw faults for `days` from a Monday's midnight on; at a station never two at a time.

    Between two faults lie one to four days without any, so that what is found can be told apart.
    """
    drawn = [f for s in plant.stations for f in _of_station(s, seed, days, kinds)]
    return tuple(sorted(drawn, key=lambda f: (f.start_s, f.id)))


def _of_station(station: Station, seed: int, days: int, kinds: tuple[str, ...]) -> Iterator[Fault]:
    rng = stream(seed, "campaign", str(station.id))
    places = [(KINDS[k], seat) for k in kinds for seat in _seats(KINDS[k], station)]
    if not places:
        return
    fitting = sorted({kind.name for kind, _ in places})
    free_s, number = 0.0, 0
    while (start := _onset(rng, free_s)) < days * _DAY:
        name = fitting[int(rng.integers(len(fitting)))]
        seats = [seat for kind, seat in places if kind.name == name]
        gun, channel = seats[int(rng.integers(len(seats)))]
        fault = _fault(rng, KINDS[name], station.id.station, (gun, channel), start, number)
        yield fault
        free_s, number = fault.end_s, number + 1


def _seats(kind: FaultKind, station: Station) -> list[tuple[str | None, str | None]]:
    if kind.seat is Seat.STATION:
        return [(None, None)]
    if kind.seat is Seat.GUN:
        return [(gun, None) for gun in station.guns]
    return [(None, c.id.channel) for c in station.channels if c.quantity in kind.quantities]


def _onset(rng: np.random.Generator, free_s: float) -> float:
    """Choose a time of work one to four days after `free_s`, Monday to Friday."""
    day = int(free_s // _DAY) + int(rng.integers(1, 5))
    day += {5: 2, 6: 1}.get(day % 7, 0)
    return day * _DAY + float(rng.uniform(*WORK))


def _fault(
    rng: np.random.Generator,
    kind: FaultKind,
    station: str,
    seat: tuple[str | None, str | None],
    start: float,
    number: int,
) -> Fault:  # fmt: skip
    usual = TYPICAL[kind.name]
    low, high = usual.size
    size = low * float((high / low) ** rng.random())
    if usual.both and rng.random() < 0.5:
        size = -size
    grows = float(rng.uniform(*usual.grows)) if rng.random() < 0.7 else 0.0
    end = start + grows + float(rng.uniform(*usual.stays))
    name = f"{station}-{number}-{kind.name}"
    return Fault(name, kind, station, seat[0], seat[1], start, end, size, grows)

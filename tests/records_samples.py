"""Records for tests: a station, welds, alarms and refusals of a small shop."""

import hashlib
from dataclasses import replace

from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, Priority
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Plant, Station
from steadybead_domain.ports import Receipt, Refused
from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_domain.welds import WeldEvent, WeldEventKind

T0 = parse_rfc3339("2026-05-04T07:30:00Z")
BAY_1 = StationId("north", "bay-1")
BAY_2 = StationId("north", "bay-2")
ANNA = Actor("Anna", Role.WELDER)
CHIEF = Actor("Chief", Role.ADMINISTRATOR)
PLANT = Plant("north", "Europe/Lisbon", (Station(BAY_1, ()),))


def start(weld: str, at_s: float = 0.0, gun: str = "a", station: StationId = BAY_1) -> WeldEvent:
    time = T0 + int(at_s * SECOND)
    return WeldEvent(
        WeldEventKind.START, weld, station, gun, time, "Anna", "mqtt", "pp-speed-nozzle", 1
    )


def stop(weld: str, at_s: float, gun: str = "a", station: StationId = BAY_1) -> WeldEvent:
    return replace(
        start(weld, at_s, gun, station),
        kind=WeldEventKind.STOP,
        procedure=None,
        procedure_revision=None,
    )


def late(weld: str, at_s: float, gun: str = "a", station: StationId = BAY_1) -> WeldEvent:
    begun = start(weld, at_s, gun, station)
    return replace(begun, kind=WeldEventKind.LATE, stop=begun.time + 60 * SECOND)


def fact(alarm: str, at_s: float, *, active: bool, latching: bool = False) -> AlarmFact:
    return AlarmFact(
        alarm,
        "north/bay-1/a:air-lost",
        "air-lost",
        BAY_1,
        "a",
        ChannelId("north", "bay-1", "gun-a/flow"),
        T0 + int(at_s * SECOND),
        active,
        Priority.HIGH,
        latching,
        "Air lost while the gun is hot",
        3.5,
        20.0,
        "L/min",
        "The air source stopped",
        "Switch the heat off",
        "welder",
    )


def act(alarm: str, at_s: float, kind: ActKind = ActKind.ACKNOWLEDGE) -> AlarmAct:
    return AlarmAct(alarm, kind, T0 + int(at_s * SECOND), CHIEF.name)


def receipt(message: int, payload: bytes, at_s: float, *, fresh: bool = False) -> Receipt:
    digest = hashlib.sha256(payload).digest()
    return Receipt(message, "shop/temperature", digest, T0 + int(at_s * SECOND), fresh)


def refusal(payload: bytes, at_s: float = 0.0, outcome: str = "unit") -> Refused:
    return Refused(
        "steadybead/v1/north/bay-1/senml",
        payload,
        hashlib.sha256(payload).digest(),
        T0 + int(at_s * SECOND),
        outcome,
        "unit `furlong` is not a temperature",
        "send `Cel`",
        0,
    )

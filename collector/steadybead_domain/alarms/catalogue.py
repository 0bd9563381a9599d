"""What each kind of alarm says: priority, likely cause, what to do and who must act.

One table, meant to be edited. Priorities come from consequence and time to respond. The advice is
common practice of the trade, no source, except where a source is named. The product only watches:
local codes and licensed practice go first, and nothing here says that a gun is safe to touch.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from steadybead_domain.alarms.model import Priority

WELDER, MAINTENANCE, MANAGER, QA = "welder", "maintenance", "manager", "qa"


@dataclass(frozen=True, slots=True)
class Entry:
    """One kind of alarm. `family`: kinds that share it are one alarm that may change its kind.

    `what` may use {gun}, {channel}, {value}, {limit} and {unit}. `unfit`: while it is active the
    station is not fit to weld. `quiet_return`: once its condition is gone nobody needs to know of
    it any more, so it needs no acknowledgement.
    """

    priority: Priority
    what: str
    cause: str
    to_do: str
    for_whom: str
    unfit: bool = True
    latching: bool = False
    family: str = ""
    quiet_return: bool = False


FUME = (
    "Stop welding and lower the heat. Hot fluoropolymer gives off harmful fumes: check that the"
    " extraction draws, and leave the fumes. Weld at the lowest temperature of the procedure."
)  # HSE RR539 (found): HF and carbonyl fluoride from certain fluoropolymers, use extraction
_NO_AIR = (
    "Cut the heat at once, and bring the air back if that can be done without danger. Do not touch"
    " or lay down the gun near anything that burns. Then check blower, valve, hose and filter."
)
_BLIND = (
    "Look at the guns: nothing can be seen of heat and air until the readings come back. Then have"
    " power and network of the logger checked."
)
_SENSOR = "Check the plug, the lead and the sensor; put in a checked one and record the change."

CATALOGUE: Mapping[str, Entry] = MappingProxyType(
    {
        "air_lost_heat_on": Entry(
            Priority.HIGH,
            "gun {gun}: no air while the heat is on ({value} {unit})",
            "blower stopped, hose off or kinked, valve shut, filter blocked",
            _NO_AIR,
            WELDER,
            latching=True,
            family="air_lost",
        ),
        "air_lost_heat_unknown": Entry(
            Priority.HIGH,
            "gun {gun}: air lost, heat unknown ({value} {unit})",
            "blower stopped, hose off or kinked, valve shut, filter blocked; whether the heat is"
            " on is not measured",
            _NO_AIR,
            WELDER,
            latching=True,
            family="air_lost",
        ),
        "air_stopped_hot": Entry(
            Priority.HIGH,
            "gun {gun}: air stopped before the element had cooled ({value} {unit})",
            "air shut off too early at the end of work, or lost while cooling",
            "Bring the air back, heat off, until the nozzle is cold; then stop the blower. Have"
            " the element checked before the next job.",
            WELDER,
            latching=True,
            family="air_lost",
        ),
        "heat_low": Entry(
            Priority.MEDIUM,
            "gun {gun}: too cold, {value} {unit}, limit {limit}",
            "set value too low, more air than usual, low supply voltage, ageing element, or a"
            " sensor that reads low",
            "Stop laying rod. Check set value and flow, hold the needle probe 5 mm inside the"
            " nozzle, then tell maintenance.",
            WELDER,
        ),
        "heat_high": Entry(
            Priority.MEDIUM,
            "gun {gun}: too hot, {value} {unit}, limit {limit}",
            "set value too high, less air than usual, controller fault, or a sensor that reads"
            " high",
            "Stop laying rod. Check the air first, then the set value; hold the needle probe 5 mm"
            " inside the nozzle.",
            WELDER,
            family="heat_high",
        ),
        "heat_high_fume": Entry(
            Priority.HIGH,
            "gun {gun}: too hot on a fluoropolymer, {value} {unit}, limit {limit}",
            "set value too high, less air than usual, controller fault, or a sensor that reads"
            " high",
            FUME,
            WELDER,
            family="heat_high",
        ),
        "flow_low": Entry(
            Priority.MEDIUM,
            "gun {gun}: too little air, {value} {unit}, limit {limit}",
            "filter loaded, hose kinked or leaking, second gun taking air, valve turned down",
            "Stop laying rod. Check hose and valve, look at the intake filter, set the flow again.",
            WELDER,
        ),
        "flow_high": Entry(
            Priority.LOW,
            "gun {gun}: too much air, {value} {unit}, limit {limit}",
            "valve opened, second gun shut, nozzle missing, filter missing or torn",
            "Set the flow again; look that nozzle and intake filter are in place.",
            WELDER,
        ),
        "channel_silent": Entry(
            Priority.MEDIUM,
            "{channel}: no reading for {limit} {unit}",
            "sensor or logger without power, lead off, or the network between",
            "Check power, plugs and network of this sensor.",
            MAINTENANCE,
        ),
        "station_silent": Entry(
            Priority.LOW,
            "no reading from any channel for {limit} {unit}",
            "station switched off, logger without power, or the network between",
            "If the station should be on, check power and network of the logger.",
            MAINTENANCE,
            family="station_silent",
            quiet_return=True,
        ),
        "station_silent_hot": Entry(
            Priority.MEDIUM,
            "no reading from any channel for {limit} {unit}, and a gun was hot",
            "logger without power, or the network between",
            _BLIND,
            WELDER,
            family="station_silent",
        ),
        "station_offline": Entry(
            Priority.LOW,
            "the station is off line",
            "station switched off, or its network connection lost",
            "If the station should be on, check power and network of the logger.",
            MAINTENANCE,
            family="station_offline",
            quiet_return=True,
        ),
        "station_offline_hot": Entry(
            Priority.MEDIUM,
            "the station went off line, and a gun was hot",
            "logger without power, or the network between",
            _BLIND,
            WELDER,
            family="station_offline",
        ),
        "sensor_open_circuit": Entry(
            Priority.MEDIUM,
            "{channel}: open circuit",
            "broken sensor wire, loose connector",
            _SENSOR,
            MAINTENANCE,
            family="sensor",
        ),
        "sensor_loop_fault": Entry(
            Priority.MEDIUM,
            "{channel}: current loop out of its band",
            "lead broken or shorted, transmitter without power or in fault",
            _SENSOR,
            MAINTENANCE,
            family="sensor",
        ),
        "sensor_bad": Entry(
            Priority.MEDIUM,
            "{channel}: no usable reading",
            "impossible value, missing cold junction, or the clock of the logger",
            "See the reason beside the reading; check wiring, plant file and logger clock.",
            MAINTENANCE,
            family="sensor",
        ),
        "filter_due": Entry(
            Priority.LOW,
            "intake filter: nears its limit, {value} of {limit} {unit}",
            "dust; how clean the air is, is not measured",
            "Plan the change; the finding gives the running hours left, with their interval.",
            MAINTENANCE,
            unfit=False,
            family="filter",
        ),
        "filter_limit": Entry(
            Priority.MEDIUM,
            "intake filter: limit reached, {value} of {limit} {unit}",
            "dust, or wet dust",
            "Change the filter with the blower stopped and the guns cold; record the change.",
            MAINTENANCE,
            unfit=False,
            family="filter",
        ),
        "filter_blocked": Entry(
            Priority.MEDIUM,
            "intake filter: the drop rose at once to {value} {unit}",
            "cover, film or paper before the intake, wet or iced filter",
            "Look at the intake now, heat off first; clear it and watch the flow.",
            MAINTENANCE,
            unfit=False,
            family="filter",
        ),
        "air_leak": Entry(
            Priority.MEDIUM,
            "air leak: the drop over the filter rose to {value} {unit} while the guns lost air",
            "hose or coupling leaks, or a hose is off, between blower and guns",
            "Cut the heat of a gun without air; listen and feel along hose and couplings.",
            MAINTENANCE,
            unfit=False,
            family="filter",
        ),
        "filter_fell": Entry(
            Priority.LOW,
            "intake filter: the drop fell at once to {value} {unit}",
            "filter changed or tapped out without a record, torn or missing, or a tube is off",
            "Look at filter and tubes; if it was changed, record the change.",
            MAINTENANCE,
            unfit=False,
            family="filter",
        ),
        "sensor_stuck": Entry(
            Priority.LOW,
            "{channel}: exactly {value} {unit} for {limit} s",
            "sensor or transmitter frozen, logger repeating its last value",
            "Compare with the needle probe or the flow meter; restart or change the sensor.",
            MAINTENANCE,
            unfit=False,
        ),
    }
)
QUIET_RETURN = frozenset(kind for kind, entry in CATALOGUE.items() if entry.quiet_return)
"""A station that was switched off and is on again leaves nothing to acknowledge."""

"""How the known causes show in a gun's figures. Spreads, sizes and priors are project assumptions.

Figures, each as a change against what was learnt: `balance` (% of power left over), `set_gap`
and `controller_gap` (°C, nozzle reading over set value, over the controller's own reading), `flow`
(% of reading), `resistance` (% of the element's), `supply` (% of voltage), `probe` (°C, reading
over needle probe), `meter` (% of reading over the flow meter held to the nozzle), `cold_emf` (°C,
nozzle over terminal when all is at room temperature), `cold_flow` (L/min with the air off).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from steadybead_domain.diagnosis.causes import Signature

THERMOCOUPLE = "thermocouple_drift"
THERMOCOUPLE_OFFSET = "thermocouple_offset"
FLOW_METER = "flow_meter_drift"
FLOW_METER_ZERO = "flow_meter_zero"
FLOW_LOSS = "flow_loss"
FLOW_RAISED = "flow_raised"  # somebody opened the valve: an explanation, no finding
CONTROLLER = "controller_drift"
ELEMENT = "element_ageing"
SUPPLY = "supply_voltage"
POWER_OR_LOSS = "power_meter_or_heat_loss"
PROBE = "reference_probe"
REFERENCE_METER = "reference_flow_meter"


NEVER_TOLD = 1e9
FLOW_LEAST_PCT = 10.0  # the flow is set by hand: less is of no interest
FAMILIES: Mapping[str, str] = {THERMOCOUPLE_OFFSET: THERMOCOUPLE, FLOW_METER_ZERO: FLOW_METER}


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How the balance answers: % of power for 1 °C at the nozzle and for 1 % of flow.

    `flow_l_min` is the usual flow. `regulated`: the controller regulates on the logged sensor.
    `measured_power` False: power is taken from the heater's output in %, `supply_known` says
    whether with the voltage.
    """

    per_c: float
    per_pct: float
    flow_l_min: float
    regulated: bool | None
    measured_power: bool
    supply_known: bool


def signatures(s: Sensitivity, *, cold_emf: bool, cold_flow: bool) -> list[Signature]:
    """Give the signatures that hold for a gun; offsets apart only where a cold check shows them."""
    known = _all(s)
    hidden = set() if cold_emf else {THERMOCOUPLE_OFFSET}
    hidden |= set() if cold_flow else {FLOW_METER_ZERO}
    return [signature for signature in known if signature.cause not in hidden]


def _all(s: Sensitivity) -> list[Signature]:
    reads_high = {"balance": -s.per_c, "controller_gap": 1.0, "probe": 1.0}
    hotter = {"controller_gap": 1.0}
    if s.regulated is False:
        reads_high["set_gap"] = hotter["set_gap"] = 1.0
    per_litre = 100.0 / max(s.flow_l_min, 1.0)
    worn = {"resistance": 1.0}
    sag = {"supply": -1.0}
    if not s.measured_power:
        worn["balance"] = 1.0
        if not s.supply_known:
            sag["balance"] = 2.0
    return [
        Signature(THERMOCOUPLE, "Cel", reads_high, 8.0, 1.5, 0.25),
        Signature(THERMOCOUPLE_OFFSET, "Cel", {**reads_high, "cold_emf": 1.0}, 8.0, 1.5, 0.10),
        Signature(
            FLOW_METER,
            "%",
            {"balance": -s.per_pct, "meter": 1.0, "flow": 0.5},
            8.0,
            2.5,
            0.25,
            {"flow": 3.0},
        ),
        Signature(
            FLOW_METER_ZERO,
            "L/min",
            {
                "balance": -s.per_pct * per_litre,
                "meter": per_litre,
                "cold_flow": 1.0,
                "flow": 0.5 * per_litre,
            },
            4.0,
            1.2,
            0.10,
            {"flow": 3.0},
        ),
        Signature(FLOW_LOSS, "%", {"flow": -1.0}, 12.0, FLOW_LEAST_PCT, 0.25, side=1),
        Signature(FLOW_RAISED, "%", {"flow": 1.0}, 12.0, NEVER_TOLD, 0.25, side=1),
        Signature(CONTROLLER, "Cel", hotter, 8.0, 4.0, 0.08),
        Signature(ELEMENT, "%", worn, 10.0, 3.0, 0.15, side=1),
        Signature(SUPPLY, "%", sag, 6.0, 4.0, 0.15),
        Signature(POWER_OR_LOSS, "%", {"balance": 1.0}, 6.0, 2.5, 0.06),
        Signature(PROBE, "Cel", {"probe": 1.0}, 6.0, 1.5, 0.02),
        Signature(REFERENCE_METER, "%", {"meter": 1.0}, 8.0, 2.5, 0.02),
    ]

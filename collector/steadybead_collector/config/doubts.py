"""The shop's own figures for an uncertainty budget, in the place of the product's assumptions."""

import math
from dataclasses import fields

from steadybead_collector.config.reader import Table, nearest, shown
from steadybead_domain.conversion.thermocouple import TYPES
from steadybead_domain.quantities import Quantity
from steadybead_domain.uncertainty.flow import FlowAssumptions
from steadybead_domain.uncertainty.nozzle import NozzleAssumptions

Doubts = tuple[tuple[str, float | str], ...]
_KINDS: dict[Quantity, type[NozzleAssumptions | FlowAssumptions]] = {
    Quantity.NOZZLE_TEMPERATURE: NozzleAssumptions,
    Quantity.AIR_FLOW: FlowAssumptions,
}
_CLASSES = (1, 2)


def read_doubts(table: Table, quantity: Quantity) -> Doubts:
    """Read `uncertainty = { … }` of a channel, half-widths by the names of the assumptions."""
    if not table.has("uncertainty"):
        return ()
    kind = _KINDS.get(quantity)
    if kind is None:
        message = f"no uncertainty budget is kept for {quantity}"
        remedy = "leave it out; it belongs to nozzle_temperature and air_flow"
        table.fault("uncertainty", message, remedy)
        return ()
    section = table.table("uncertainty", f"{table.where} uncertainty")
    names = [f.name for f in fields(kind) if f.name != "given"]
    section.only(names)
    return tuple((name, _figure(section, name)) for name in section.data if name in names)


def _figure(section: Table, name: str) -> float | str:
    value = section.data[name]
    if name == "letter":
        if value not in TYPES:
            remedy = nearest(str(value), TYPES)
            section.fault(name, f"letter {shown(value)} is no thermocouple type", remedy)
        return str(value)
    number = section.number(name)
    if name == "tolerance_class":
        if number not in _CLASSES:
            section.fault(name, f"class {shown(value)} is unknown", "write 1 or 2")
            return 1
        return int(number)
    if math.isfinite(number) and number < 0.0:
        section.fault(name, f"{name} is {number:g}", "write a half-width of 0 or more")
    if name.endswith("_time_s") and number == 0.0:
        section.fault(name, f"{name} is 0", "write a number above 0")
    return number

"""Conversions of the plant file, checked against the channel's quantity and wire unit."""

from collections.abc import Callable

from steadybead_collector.config.reader import Table, nearest, shown
from steadybead_domain.conversion.specs import (
    Conversion,
    CurrentLoop,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.conversion.thermocouple import TYPES
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.quantities import Quantity

COMMON = ("kind", "reference")


class ChannelWiring:
    """What a conversion is checked against: quantity, wire unit, and the channel's own table."""

    def __init__(self, channel: Table, quantity: Quantity, wire_unit: str) -> None:
        self.channel, self.quantity, self.wire_unit = channel, quantity, wire_unit

    def wire_must_be(self, target: str, kind: str) -> None:
        """Note a wire unit that the kind of conversion cannot start from."""
        self._fits(self.channel, "unit", self.wire_unit, target, f"a {kind} starts from {target}")

    def plain_must_fit(self) -> None:
        """Note a wire unit that is no unit of the quantity, for a channel without conversion."""
        unit = self.quantity.facts.unit
        self._fits(self.channel, "unit", self.wire_unit, unit, f"{self.quantity} is in {unit}")

    def result_must_fit(self, table: Table, to: str) -> None:
        """Note a result unit that is no unit of the quantity."""
        unit = self.quantity.facts.unit
        self._fits(table, "to", to, unit, f"{self.quantity} is in {unit}")

    def quantity_must_be(self, table: Table, unit: str, what: str) -> None:
        """Note a conversion that cannot give the channel's quantity."""
        if self.quantity.facts.unit != unit:
            message = f"{table.data['kind']} cannot give {self.quantity}"
            table.fault("kind", message, f"use it for {what}")

    def _fits(self, table: Table, key: str, unit: str, target: str, why: str) -> None:
        try:
            to_unit(unit, target)
        except UnitError as error:
            table.fault(key, f"{key} {shown(unit)} does not fit, {why}", str(error))


def read_conversion(channel: Table, wiring: ChannelWiring) -> Conversion | None:
    """Read `conversion`; None where there is none or where it is wrong (which is noted)."""
    if not channel.has("conversion"):
        wiring.plain_must_fit()
        return None
    table = channel.table("conversion", f"{channel.where} conversion")
    kind = table.text("kind", required=True)
    if kind is None:
        return None
    if kind not in _KINDS:
        table.fault("kind", f"unknown conversion kind {shown(kind)}", nearest(kind, _KINDS))
        return None
    before = len(channel.notes.problems)
    read, keys = _KINDS[kind]
    table.only((*COMMON, *keys))
    conversion = read(table, wiring)
    return conversion if len(channel.notes.problems) == before else None


def _thermocouple(table: Table, wiring: ChannelWiring) -> Conversion:
    wiring.quantity_must_be(table, "Cel", "a temperature")
    wiring.wire_must_be("mV", "thermocouple")
    letter = table.choice("type", str, TYPES)
    if not table.has("type"):
        table.fault("type", "type is missing", 'add type = "K" or the letter of your wire')
    junction = table.data.get("cold_junction")
    if isinstance(junction, bool) or not isinstance(junction, str | int | float):
        remedy = 'write cold_junction = "gun-a/terminal", or a fixed temperature in °C'
        table.fault("cold_junction", "cold_junction is missing or wrong", remedy)
        junction = 0.0
    return Thermocouple(letter or "K", junction if isinstance(junction, str) else float(junction))


def _current_loop(table: Table, wiring: ChannelWiring) -> Conversion:
    wiring.wire_must_be("mA", "current loop")
    low, high = _two_points(table, "at_4_ma", "at_20_ma")
    return CurrentLoop(low, high, _result(table, wiring))


def _voltage_loop(table: Table, wiring: ChannelWiring) -> Conversion:
    wiring.wire_must_be("V", "voltage loop")
    low, high = _two_points(table, "at_low", "at_high")
    low_v = table.number("low_v") if table.has("low_v") else 0.0
    high_v = table.number("high_v") if table.has("high_v") else 10.0
    if low_v >= high_v:
        table.fault("high_v", "high_v is not above low_v", "write the higher voltage in high_v")
    return VoltageLoop(low, high, _result(table, wiring), low_v, high_v)


def _pulse(table: Table, wiring: ChannelWiring) -> Conversion:
    wiring.quantity_must_be(table, "L/min", "an air_flow")
    wiring.wire_must_be("count", "pulse counter")
    litres = table.number("litres_per_pulse", required=True, above=0.0)
    rolls = table.number("rolls_over_at", above=0.0) if table.has("rolls_over_at") else 2.0**32
    if rolls != rolls // 1:
        table.fault("rolls_over_at", "rolls_over_at is no whole number", "write 65536 or the like")
        rolls = 1.0
    return PulseCounter(litres, int(rolls))


def _square_root(table: Table, wiring: ChannelWiring) -> Conversion:
    wiring.quantity_must_be(table, "L/min", "an air_flow")
    wiring.wire_must_be("Pa", "flow element")
    full = table.number("at_full", required=True, above=0.0)
    drop = table.number("full_drop_pa", required=True, above=0.0)
    return SquareRoot(full, drop, _result(table, wiring))


def _linear(table: Table, wiring: ChannelWiring) -> Conversion:
    factor = table.number("factor", required=True)
    if factor == 0.0:
        table.fault("factor", "factor is 0, so every reading would be the same", "write another")
    offset = table.number("offset") if table.has("offset") else 0.0
    return Linear(factor, offset, _result(table, wiring))


def _two_points(table: Table, low_key: str, high_key: str) -> tuple[float, float]:
    low, high = table.number(low_key, required=True), table.number(high_key, required=True)
    if low == high:
        message = f"{low_key} and {high_key} are the same"
        table.fault(high_key, message, "write the values at the two ends of the range")
    return low, high


def _result(table: Table, wiring: ChannelWiring) -> str:
    to = table.text("to", required=True)
    if to is not None:
        wiring.result_must_fit(table, to)
    return to or ""


_KINDS: dict[str, tuple[Callable[[Table, ChannelWiring], Conversion], tuple[str, ...]]] = {
    "thermocouple": (_thermocouple, ("type", "cold_junction")),
    "current_loop": (_current_loop, ("at_4_ma", "at_20_ma", "to")),
    "voltage_loop": (_voltage_loop, ("at_low", "at_high", "to", "low_v", "high_v")),
    "pulse": (_pulse, ("litres_per_pulse", "rolls_over_at")),
    "square_root": (_square_root, ("at_full", "full_drop_pa", "to")),
    "linear": (_linear, ("factor", "offset", "to")),
}

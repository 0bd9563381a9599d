"""What the plant file says of a flow meter: principle, reference, place, and the air in it."""

import math

from steadybead_collector.config.reader import Table, shown
from steadybead_domain.conversion.conditions import meter_sources
from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Channel, FlowMeter, Station
from steadybead_domain.quantities import Quantity

FLOW_KEYS = (
    "principle",
    "position",
    "reference",
    "temperature_at",
    "pressure_at",
    "scale_temperature_c",
    "scale_pressure_pa",
)
_NEEDED = ("principle", "position", "reference")
_COLDEST_C, _HOTTEST_C = -40.0, 150.0
_LEAST_PA, _MOST_PA = 50_000.0, 1_500_000.0


def read_flow_meter(table: Table, quantity: Quantity) -> FlowMeter | None:
    """Read the meter of an air_flow channel; None, and a note, for another quantity."""
    conversion = table.data.get("conversion")
    inner = conversion if isinstance(conversion, dict) else {}
    if quantity is not Quantity.AIR_FLOW:
        for key in (*FLOW_KEYS, *(("conversion",) if "reference" in inner else ())):
            if table.has(key):
                remedy = f"leave {', '.join(_NEEDED)} and the like out; they belong to air_flow"
                table.fault(key, f"{quantity} has no flow meter", remedy)
        return None
    principle = table.choice("principle", FlowPrinciple, list(FlowPrinciple))
    at = table if table.has("reference") else table.table("conversion", table.where)
    reference = at.choice("reference", FlowReference, list(FlowReference))
    plain = FlowMeter()
    return FlowMeter(
        principle or FlowPrinciple.ACTUAL_VOLUME,
        reference or FlowReference.ACTUAL,
        table.text("position") or plain.position,
        _channel_or_number(table, "temperature_at", _COLDEST_C, _HOTTEST_C, "°C"),
        _channel_or_number(table, "pressure_at", _LEAST_PA, _MOST_PA, "Pa, absolute"),
        _number(table, "scale_temperature_c", plain.scale_temperature_c, (_COLDEST_C, _HOTTEST_C)),
        _number(table, "scale_pressure_pa", plain.scale_pressure_pa, (_LEAST_PA, _MOST_PA)),
    )


def check_meters(channels: list[tuple[Channel, Table]]) -> None:
    """Note meters whose air cannot be known from what the file says."""
    own = tuple(channel for channel, _ in channels)
    for channel, table in channels:
        if channel.flow is None:
            continue
        station = Station(StationId(channel.id.site, channel.id.station), own)
        try:
            meter_sources(station, channel)
        except ValueError as error:
            message = str(error)
            key = next((k for k in FLOW_KEYS if message.startswith(k)), "reference")
            what, _, remedy = message.partition(": ")
            table.fault(key, what, remedy)


def _channel_or_number(
    table: Table, key: str, low: float, high: float, unit: str
) -> str | float | None:
    value = table.data.get(key)
    if value is None or (isinstance(value, str) and value.strip()):
        return value
    wrong = isinstance(value, bool) or not isinstance(value, int | float)
    if wrong or not (math.isfinite(value) and low <= value <= high):
        remedy = f"name a channel of the station, or write {low:g} to {high:g} ({unit})"
        table.fault(key, f"{key} {shown(value)} cannot be", remedy)
        return None
    return float(value)


def _number(table: Table, key: str, plain: float, limits: tuple[float, float]) -> float:
    if not table.has(key):
        return plain
    value = table.number(key)
    if math.isfinite(value) and not limits[0] <= value <= limits[1]:
        remedy = f"write {limits[0]:g} to {limits[1]:g}"
        table.fault(key, f"{key} {value:g} cannot be", remedy)
    return value

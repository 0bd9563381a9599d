"""The rules for each record: known channel, a number, a fitting unit, a time that can be."""

from steadybead_collector.ingest.decode import Decoded
from steadybead_collector.ingest.receipts import FirstReceipt
from steadybead_collector.ingest.slots import IDENTITY, Slot, StationSlots
from steadybead_collector.mqtt.senml_record import RELATIVE_BELOW_US, Record
from steadybead_collector.outcomes import Outcome
from steadybead_domain.conversion.units import UnitError, same_dimension, to_unit
from steadybead_domain.readings import Quality, Reason
from steadybead_domain.times import (
    DAY,
    FURTHEST_AHEAD,
    OLDEST_ABSOLUTE,
    SECOND,
    format_rfc3339,
)

OLDEST_RELATIVE = -DAY
LATEST_RELATIVE = 5 * SECOND


def place(decoded: Decoded, receipt: FirstReceipt | None, pack: int) -> None:
    """Put the message's readings into their slots; refuse those that break a rule."""
    if decoded.shaped is not None:
        shaped = decoded.shaped
        shaped.shape.add(pack, shaped.times, shaped.values)
        return
    if decoded.picked and receipt is not None:
        for _, slot, value in decoded.picked:
            slot.add(receipt.time, value, pack)
            slot.mark(*_mark(receipt))
    route = decoded.route
    if decoded.records and route is not None and route.slots is not None:
        _place_records(decoded, route.slots, receipt, pack)


def _place_records(
    decoded: Decoded, slots: StationSlots, receipt: FirstReceipt | None, pack: int
) -> None:
    by_name = slots.by_name
    latest = decoded.message.received + FURTHEST_AHEAD
    for record in decoded.records:
        index, name, unit, time, value, _ = record
        slot = by_name.get(name)
        if slot is None:
            decoded.refusals.add(Outcome.UNKNOWN_CHANNEL, f"no channel {name[:80]!r}", index)
            continue
        if type(value) is not float or (unit is not None and unit != slot.channel.wire_unit):
            number = _fitted(decoded, slot, record)
            if number is None:
                continue
            value = number
        if OLDEST_ABSOLUTE <= time <= latest:
            slot.add(time, value, pack)
        elif receipt is not None and OLDEST_RELATIVE <= time <= LATEST_RELATIVE:
            slot.add(receipt.time + time, value, pack)
            slot.mark(*_mark(receipt))
        else:
            decoded.refusals.add(Outcome.TIME, f"record {index}: {_when(time)}", index)


def _mark(receipt: FirstReceipt) -> tuple[Quality, Reason]:
    if receipt.backlog:
        return Quality.BAD, Reason.CLOCK
    return Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT


def _fitted(decoded: Decoded, slot: Slot, record: Record) -> float | None:
    """Give the value in the wire unit; None if it is no number or its unit does not fit."""
    index, name, unit, _, value, _ = record
    if type(value) is bool and same_dimension(slot.channel.wire_unit, "/"):
        value = float(value)
    if value is None:
        decoded.refusals.add(Outcome.NO_VALUE, f"{name} has a sum only", index)
        return None
    if type(value) is not float:
        what = {str: "a text", bytes: "data", bool: "true or false"}[type(value)]
        decoded.refusals.add(Outcome.NOT_A_NUMBER, f"{name} is {what}", index)
        return None
    scale = IDENTITY if unit is None else slot.scale(unit)
    if scale is None:
        why = _unit_fault(unit or "", slot.channel.wire_unit)
        decoded.refusals.add(Outcome.UNIT, f"unit of {name}: {why}", index)
        return None
    scaled = value if scale is IDENTITY else value * scale[0] + scale[1]
    if scaled - scaled != 0.0:
        decoded.refusals.add(Outcome.NOT_FINITE, f"{name} is too large", index)
        return None
    return scaled


def _unit_fault(unit: str, wire_unit: str) -> str:
    try:
        to_unit(unit, wire_unit)
    except UnitError as error:
        return str(error)
    return f"unit {unit[:30]!r} does not fit"


def _when(time: int) -> str:
    if time < RELATIVE_BELOW_US:
        return f"{time / SECOND:.0f} s from now"
    try:
        return format_rfc3339(time)
    except (OverflowError, ValueError):
        return "beyond any date"

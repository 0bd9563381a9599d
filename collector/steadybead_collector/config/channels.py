"""Channels of one station."""

from steadybead_collector.config.conversions import ChannelWiring, read_conversion
from steadybead_collector.config.doubts import read_doubts
from steadybead_collector.config.flow_meters import FLOW_KEYS, check_meters, read_flow_meter
from steadybead_collector.config.reader import Table, shown
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.ids import GUN_PREFIX, BadNameError, ChannelId, StationId, checked_channel
from steadybead_domain.plant import Channel, PointerSource
from steadybead_domain.quantities import Quantity

_KEYS = (
    "id",
    "quantity",
    "unit",
    "conversion",
    "source",
    "regulated",
    "silence_s",
    "uncertainty",
    *FLOW_KEYS,
)
REQUIRED_OF_GUN = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)


def read_channel(table: Table, station: StationId) -> Channel | None:
    """Read one channel; None where it cannot be built (every reason is noted)."""
    table.only(_KEYS)
    name = _name(table)
    quantity = table.choice("quantity", Quantity, list(Quantity))
    unit = table.text("unit", required=True)
    if not table.has("quantity"):
        table.fault("quantity", "quantity is missing", 'add quantity = "nozzle_temperature" or …')
    if quantity is None or unit is None:
        return None
    before = len(table.notes.problems)
    conversion = read_conversion(table, ChannelWiring(table, quantity, unit))
    source = _source(table)
    regulated = _regulated(table, quantity)
    flow = read_flow_meter(table, quantity)
    doubts = read_doubts(table, quantity)
    silence_s = table.number("silence_s", above=0.0) if table.has("silence_s") else 30.0
    if name is None or len(table.notes.problems) > before:
        return None
    channel_id = ChannelId(station.site, station.station, name)
    _check_owner(table, channel_id, quantity)
    return Channel(
        channel_id, quantity, unit, conversion, source, regulated, flow, silence_s, doubts
    )


def check_together(channels: list[tuple[Channel, Table]]) -> None:
    """Note what is wrong between the channels of one station."""
    by_name: dict[str, Channel] = {}
    for channel, table in channels:
        if channel.id.channel in by_name:
            name = channel.id.channel
            table.fault("id", f"channel {name} stands twice", "give each channel its own id")
        by_name[channel.id.channel] = channel
    _check_quantities(channels)
    for channel, table in channels:
        _check_junction(channel, table, by_name)
    check_meters(channels)


def check_guns(guns: dict[str, list[Channel]], station: Table) -> None:
    """Note guns that lack what no station can do without."""
    if not guns:
        remedy = 'add channels such as "gun-a/nozzle" and "gun-a/flow"'
        station.fault("channel", "no gun has a channel", remedy)
    for gun, channels in guns.items():
        measured = {c.quantity for c in channels}
        for quantity in REQUIRED_OF_GUN:
            if quantity not in measured:
                message = f"gun {gun} has no {quantity} channel"
                remedy = f'add a [[station.channel]] with quantity = "{quantity}"'
                station.fault("id", message, remedy)


def _name(table: Table) -> str | None:
    name = table.text("id", required=True)
    if name is None:
        return None
    try:
        return checked_channel(name)
    except BadNameError as error:
        table.fault("id", f"bad id {shown(name)}", str(error))
        return None


def _check_owner(table: Table, channel: ChannelId, quantity: Quantity) -> None:
    of_gun = quantity.facts.of_gun
    if of_gun and not channel.gun:
        message = f"{quantity} belongs to a gun, and {channel.channel} names none"
        table.fault("id", message, f'write id = "{GUN_PREFIX}a/…"')
    if not of_gun and channel.gun is not None:
        message = f"{quantity} belongs to the air source, and {channel.channel} names a gun"
        table.fault("id", message, 'write id = "blower/…"')


def _check_quantities(channels: list[tuple[Channel, Table]]) -> None:
    first: dict[tuple[Quantity, str | None], str] = {}
    for channel, table in channels:
        key = (channel.quantity, channel.gun)
        name = first.setdefault(key, channel.id.channel)
        if name != channel.id.channel:
            owner = "the air source" if channel.gun is None else f"gun {channel.gun}"
            message = f"{owner} has {channel.quantity} twice, here and in {name}"
            table.fault("quantity", message, "keep one of them")


def _check_junction(channel: Channel, table: Table, by_name: dict[str, Channel]) -> None:
    if not isinstance(channel.conversion, Thermocouple):
        return
    wanted = channel.conversion.cold_junction
    if not isinstance(wanted, str):
        return
    junction = by_name.get(wanted)
    at = table.table("conversion", table.where)
    if junction is None:
        names = [n for n, c in by_name.items() if c.unit == "Cel" and c is not channel]
        remedy = f"name one of {', '.join(names) or 'the temperature channels'}, or give °C"
        at.fault("cold_junction", f"cold junction {shown(wanted)} is no channel here", remedy)
    elif junction.unit != "Cel" or isinstance(junction.conversion, Thermocouple):
        message = f"cold junction {shown(wanted)} is not a temperature by itself"
        at.fault("cold_junction", message, "name the sensor at the terminal, or give °C")


def _source(table: Table) -> PointerSource | None:
    if not table.has("source"):
        return None
    source = table.table("source", f"{table.where} source")
    source.only(("topic", "pointer"))
    topic = source.text("topic", required=True)
    pointer = source.data.get("pointer", "")
    if not isinstance(pointer, str) or (pointer and not pointer.startswith("/")):
        remedy = 'write pointer = "/a/b" (RFC 6901), or "" if the payload is the number'
        source.fault("pointer", f"bad pointer {shown(pointer)}", remedy)
        return None
    if topic is None:
        return None
    if any(c in topic for c in "+#") or any(c.isspace() for c in topic):
        source.fault("topic", f"bad topic {shown(topic)}", "write one topic, without + # or spaces")
        return None
    return PointerSource(topic, pointer)


def _regulated(table: Table, quantity: Quantity) -> bool | None:
    regulated = table.flag("regulated")
    if regulated is not None and quantity.facts.unit != "Cel":
        message = f"regulated says nothing of {quantity}"
        table.fault("regulated", message, "leave it out; it belongs to temperature channels")
    return regulated

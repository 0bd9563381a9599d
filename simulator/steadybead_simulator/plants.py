"""Plants of any size, for load and for tests, and their plant file."""

from collections.abc import Iterator

from steadybead_domain.conversion.specs import CurrentLoop, Thermocouple
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import AirSource, Channel, FlowMeter, Plant, Station
from steadybead_domain.quantities import Quantity

MOST_STATIONS = 1000
_Q = Quantity
_LEVELS = ("full", "usual", "least")
_FULL = (
    ("set", _Q.SET_TEMPERATURE, "Cel"),
    ("inlet", _Q.GUN_INLET_TEMPERATURE, "Cel"),
    ("power", _Q.HEATER_POWER, "W"),
    ("output", _Q.HEATER_OUTPUT, "%"),
    ("stand", _Q.IN_STAND, "/"),
)
_AIR = (
    ("filter", _Q.FILTER_PRESSURE_DROP, "Pa"),
    ("outlet", _Q.OUTLET_PRESSURE, "Pa"),
    ("intake", _Q.INTAKE_TEMPERATURE, "Cel"),
    ("humidity", _Q.INTAKE_HUMIDITY, "%RH"),
    ("ambient", _Q.AMBIENT_PRESSURE, "Pa"),
    ("supply", _Q.SUPPLY_VOLTAGE, "V"),
    ("motor", _Q.MOTOR_CURRENT, "A"),
)


def plant_of(n: int, site: str = "north", level: str | None = None) -> Plant:
    """Build a plant of n stations, 1 to 1,000; ValueError outside.

    Without a level the stations take turns: `full` (18 channels, two guns), `usual` (6 channels),
    `least` (2 channels, the required ones).
    """
    if not 1 <= n <= MOST_STATIONS:
        raise ValueError(f"{n} stations: choose 1 to {MOST_STATIONS}")
    if level is not None and level not in _LEVELS:
        raise ValueError(f"level {level!r}: choose one of {', '.join(_LEVELS)}")
    stations = (_station(site, i, level or _LEVELS[i % 3]) for i in range(n))
    return Plant(site, "Europe/Lisbon", tuple(stations))


def _station(site: str, i: int, level: str) -> Station:
    name = f"bay-{i + 1}"
    channels = {"full": _full, "usual": _usual, "least": _least}[level](site, name)
    return Station(
        StationId(site, name),
        tuple(channels),
        procedure="pp-speed-nozzle",
        air=AirSource(intake_filter_limit_pa=250.0),
    )


def _full(site: str, station: str) -> Iterator[Channel]:
    def channel(name: str, quantity: Quantity, unit: str) -> Channel:
        return Channel(ChannelId(site, station, name), quantity, unit)

    yield Channel(
        ChannelId(site, station, "gun-a/nozzle"),
        _Q.NOZZLE_TEMPERATURE,
        "mV",
        Thermocouple("K", "gun-a/terminal"),
    )
    yield channel("gun-a/terminal", _Q.TERMINAL_TEMPERATURE, "Cel")
    yield Channel(
        ChannelId(site, station, "gun-a/flow"),
        _Q.AIR_FLOW,
        "mA",
        CurrentLoop(0.0, 100.0, "L/min"),
        flow=FlowMeter(),
    )
    for name, quantity, unit in _FULL:
        yield channel(f"gun-a/{name}", quantity, unit)
    yield channel("gun-b/nozzle", _Q.NOZZLE_TEMPERATURE, "Cel")
    yield _flow(site, station, "gun-b")
    yield channel("gun-b/output", _Q.HEATER_OUTPUT, "%")
    for name, quantity, unit in _AIR:
        yield channel(f"air/{name}", quantity, unit)


def _flow(site: str, station: str, gun: str) -> Channel:
    return Channel(ChannelId(site, station, f"{gun}/flow"), _Q.AIR_FLOW, "L/min", flow=FlowMeter())


def _usual(site: str, station: str) -> Iterator[Channel]:
    yield Channel(
        ChannelId(site, station, "gun-a/nozzle"), _Q.NOZZLE_TEMPERATURE, "Cel", regulated=True
    )
    yield _flow(site, station, "gun-a")
    for name, quantity, unit in (
        ("gun-a/power", _Q.HEATER_POWER, "W"),
        ("gun-a/output", _Q.HEATER_OUTPUT, "%"),
        ("air/filter", _Q.FILTER_PRESSURE_DROP, "Pa"),
        ("air/supply", _Q.SUPPLY_VOLTAGE, "V"),
    ):
        yield Channel(ChannelId(site, station, name), quantity, unit)


def _least(site: str, station: str) -> Iterator[Channel]:
    yield Channel(ChannelId(site, station, "gun-a/nozzle"), _Q.NOZZLE_TEMPERATURE, "Cel")
    yield _flow(site, station, "gun-a")


def plant_text(plant: Plant, mqtt_url: str | None = None) -> str:
    """Write a plant as the text of a plant file, with a broker's URL if one is given."""
    lines = ["[site]", f'id = "{plant.site}"', f'timezone = "{plant.timezone}"', ""]
    if mqtt_url is not None:
        lines += ["[mqtt]", f'url = "{mqtt_url}"', ""]
    for station in plant.stations:
        lines += ["[[station]]", f'id = "{station.id.station}"']
        if station.procedure is not None:
            lines.append(f'procedure = "{station.procedure}"')
        lines += ["", f"[station.{station.air.kind.value}]"]
        if station.air.intake_filter_limit_pa is not None:
            lines.append(f"intake_filter_limit_pa = {station.air.intake_filter_limit_pa:g}")
        for channel in station.channels:
            lines += ["", *_channel_lines(channel)]
        lines.append("")
    return "\n".join(lines)


def _channel_lines(channel: Channel) -> Iterator[str]:
    yield "[[station.channel]]"
    yield f'id = "{channel.id.channel}"'
    yield f'quantity = "{channel.quantity.value}"'
    yield f'unit = "{channel.wire_unit}"'
    spec = channel.conversion
    if isinstance(spec, Thermocouple):
        cold = spec.cold_junction
        shown = f'"{cold}"' if isinstance(cold, str) else f"{cold:g}"
        yield (
            f'conversion = {{ kind = "thermocouple", type = "{spec.type}", '
            f"cold_junction = {shown} }}"
        )
    elif isinstance(spec, CurrentLoop):
        yield (
            f'conversion = {{ kind = "current_loop", at_4_ma = {spec.at_4_ma:g}, '
            f'at_20_ma = {spec.at_20_ma:g}, to = "{spec.to}", reference = "actual" }}'
        )
    elif spec is not None:
        raise ValueError(f"{channel.id}: {type(spec).__name__} is not written here")
    if channel.regulated is not None:
        yield f"regulated = {str(channel.regulated).lower()}"

"""The plant as its file describes it: site, stations, guns, channels and their wiring."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.conversion.specs import Conversion, FlowPrinciple, FlowReference
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.quantities import Quantity


class AirSourceKind(StrEnum):
    """Where the air comes from."""

    BLOWER = "blower"
    COMPRESSED_AIR = "compressed_air"
    NITROGEN = "nitrogen"
    BUILT_IN_FAN = "built_in_fan"


@dataclass(frozen=True, slots=True)
class PointerSource:
    """A foreign topic and the RFC 6901 pointer to the number in its JSON payload."""

    topic: str
    pointer: str


@dataclass(frozen=True, slots=True)
class FlowMeter:
    """What a flow channel says of its meter; `position` is free words, shown with the value.

    `temperature_at` and `pressure_at` say where the state of the air in the meter is known from:
    a channel id of the same station, or a fixed number (°C; absolute Pa); None: not said. A
    pressure channel is read as gauge pressure unless it is the ambient pressure. The scale state
    matters for variable-area meters and pressure-drop elements.
    """

    principle: FlowPrinciple = FlowPrinciple.ACTUAL_VOLUME
    reference: FlowReference = FlowReference.ACTUAL
    position: str = "not stated"
    temperature_at: str | float | None = None
    pressure_at: str | float | None = None
    scale_temperature_c: float = 20.0
    scale_pressure_pa: float = 101_325.0


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel: what it measures, the unit on the wire and how it is converted.

    `unit` is the engineering unit, always that of the quantity. `silence_s`: no reading for so
    long while the station is on line is silence. `regulated`: the gun's controller regulates on
    this very sensor (None: not said). `assumptions`: the shop's own figures, by name, for the
    uncertainty budget.
    """

    id: ChannelId
    quantity: Quantity
    wire_unit: str
    conversion: Conversion | None = None
    source: PointerSource | None = None
    regulated: bool | None = None
    flow: FlowMeter | None = None
    silence_s: float = 30.0
    assumptions: tuple[tuple[str, float | str], ...] = ()

    @property
    def unit(self) -> str:
        """Give the engineering unit."""
        return self.quantity.facts.unit

    @property
    def gun(self) -> str | None:
        """Give the gun that owns the channel."""
        return self.id.gun


@dataclass(frozen=True, slots=True)
class AirSource:
    """The source of the station's air."""

    kind: AirSourceKind = AirSourceKind.BLOWER
    intake_filter_limit_pa: float | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """One air source and its guns.

    `automatic_records`: weld records begin and end by the guns' state.
    """

    id: StationId
    channels: tuple[Channel, ...]
    name: str = ""
    procedure: str | None = None
    air: AirSource = field(default_factory=AirSource)
    automatic_records: bool = False

    @property
    def guns(self) -> tuple[str, ...]:
        """Give the guns in the order in which the file first names them."""
        return tuple(dict.fromkeys(c.gun for c in self.channels if c.gun is not None))

    def channel_of(self, quantity: Quantity, gun: str | None = None) -> Channel | None:
        """Find the channel of a quantity; for a quantity of the gun, name the gun."""
        for channel in self.channels:
            if channel.quantity is quantity and channel.gun == gun:
                return channel
        return None


@dataclass(frozen=True, slots=True)
class Plant:
    """One accepted version of the plant file, without the settings of servers.

    `version` counts accepted versions from 1; `sha256` is of the file's bytes.
    """

    site: str
    timezone: str
    stations: tuple[Station, ...]
    version: int = 1
    sha256: str = ""
    name: str = ""
    calendar: WorkCalendar = field(default_factory=WorkCalendar)

    def channels(self) -> Iterator[Channel]:
        """Walk all channels in the file's order."""
        for station in self.stations:
            yield from station.channels

    def station(self, station_id: StationId) -> Station | None:
        """Find a station."""
        return next((s for s in self.stations if s.id == station_id), None)

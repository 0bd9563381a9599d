"""Which topic carries what, for one plant."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum, auto

from steadybead_collector.ingest.slots import Slot, StationSlots
from steadybead_collector.mqtt.pointer import Tokens, parse_pointer
from steadybead_collector.outcomes import Outcome
from steadybead_domain.plant import Plant, Station


class Kind(Enum):
    """What a message is, by its topic."""

    SENML_JSON = auto()
    SENML_CBOR = auto()
    POINTER = auto()
    ONLINE = auto()
    WELD = auto()
    OWN = auto()


_KINDS = {
    "senml": Kind.SENML_JSON,
    "senml-cbor": Kind.SENML_CBOR,
    "online": Kind.ONLINE,
    "weld": Kind.WELD,
}
_OWN = ("live", "alarm")


@dataclass(frozen=True, slots=True)
class Route:
    """Where a message belongs; `picks` are the slots that a foreign topic feeds."""

    kind: Kind
    slots: StationSlots | None = None
    picks: tuple[tuple[StationSlots, Slot, Tokens], ...] = ()


@dataclass(slots=True)
class Routes:
    """All topics of a plant below `root`, and its foreign topics."""

    plant: Plant
    root: str
    stations: list[StationSlots] = field(init=False)
    _routes: dict[str, Route] = field(init=False)

    def __post_init__(self) -> None:
        """Build the table."""
        self.stations = [StationSlots(s, self.plant.version) for s in self.plant.stations]
        self._routes = dict(self._own_routes())
        self._routes |= self._foreign_routes()

    def of(self, topic: str) -> Route | Outcome:
        """Give the route, or the word for a topic that leads nowhere.

        A partition may put something before the root; it is passed over.
        """
        route = self._routes.get(topic)
        if route is not None:
            return route
        at = topic.find(f"{self.root}/")
        if at < 0:
            return Outcome.TOPIC
        inner = topic[at:]
        if at > 0 and inner in self._routes:
            return self._routes[inner]
        levels = inner[len(self.root) + 1 :].split("/")
        if len(levels) < 3 or levels[2] not in {*_KINDS, *_OWN}:
            return Outcome.TOPIC
        return Route(Kind.OWN) if levels[2] in _OWN else Outcome.UNKNOWN_STATION

    def station(self, station: Station) -> str:
        """Give the topic above those of a station."""
        return f"{self.root}/{station.id}"

    def _own_routes(self) -> Iterator[tuple[str, Route]]:
        for slots in self.stations:
            for word, kind in _KINDS.items():
                yield f"{self.station(slots.station)}/{word}", Route(kind, slots)

    def _foreign_routes(self) -> dict[str, Route]:
        picks: dict[str, list[tuple[StationSlots, Slot, Tokens]]] = {}
        for slots in self.stations:
            for slot in slots.by_name.values():
                source = slot.channel.source
                if source is not None:
                    pick = (slots, slot, parse_pointer(source.pointer))
                    picks.setdefault(source.topic, []).append(pick)
        return {topic: Route(Kind.POINTER, None, tuple(p)) for topic, p in picks.items()}

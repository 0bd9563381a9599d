"""From a message to the records it carries; nothing here knows of stores or of time."""

from dataclasses import dataclass, field
from typing import Any

from steadybead_collector.ingest.refusals import Refusals
from steadybead_collector.ingest.routes import Kind, Route, Routes
from steadybead_collector.ingest.shapes import Shaped
from steadybead_collector.ingest.slots import Slot, StationSlots
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.mqtt.pointer import PointerError, number_at, read_document
from steadybead_collector.mqtt.senml import read_cbor, read_json, resolve
from steadybead_collector.mqtt.senml_record import RELATIVE_BELOW_US, Record, SenmlError
from steadybead_collector.outcomes import Outcome

LARGEST_PAYLOAD = 1024 * 1024


@dataclass(slots=True)
class Decoded:
    """One message, decoded as far as its payload alone allows."""

    message: Message
    refusals: Refusals
    route: Route | None = None
    records: list[Record] = field(default_factory=list)
    shaped: Shaped | None = None
    picked: list[tuple[StationSlots, Slot, float]] = field(default_factory=list)
    needs_receipt: bool = False

    @property
    def known_topic(self) -> bool:
        """Tell whether the topic is one of the plant's."""
        return self.route is not None


def decode(message: Message, routes: Routes) -> Decoded:
    """Decode a message by its topic; what cannot be used is noted among its refusals."""
    decoded = Decoded(message, Refusals(message))
    route = routes.of(message.topic)
    if isinstance(route, Outcome):
        decoded.refusals.add(route, f"topic {message.topic[:120]!r}")
        return decoded
    decoded.route = route
    if len(message.payload) > LARGEST_PAYLOAD:
        decoded.refusals.add(Outcome.TOO_BIG, f"{len(message.payload)} bytes")
    elif route.kind is Kind.SENML_JSON or route.kind is Kind.SENML_CBOR:
        _decode_pack(decoded, route)
    elif route.kind is Kind.POINTER:
        _decode_foreign(decoded, route)
    return decoded


def _decode_pack(decoded: Decoded, route: Route) -> None:
    message, slots = decoded.message, route.slots
    try:
        read = read_json if route.kind is Kind.SENML_JSON else read_cbor
        items = read(message.payload)
        if slots is not None:
            decoded.shaped = slots.shapes.fit(items, message.received)
            if decoded.shaped is not None:
                return
        pack = resolve(items)
    except SenmlError as error:
        decoded.refusals.add(error.outcome, error.detail)
        return
    for fault in pack.refused:
        decoded.refusals.add(fault.outcome, fault.detail, fault.index)
    decoded.records = pack.records
    decoded.needs_receipt = any(record[3] < RELATIVE_BELOW_US for record in pack.records)
    if slots is not None and not pack.refused and not decoded.needs_receipt:
        slots.shapes.learn(items, pack.records)


def _decode_foreign(decoded: Decoded, route: Route) -> None:
    try:
        document: Any = read_document(decoded.message.payload)
    except PointerError as error:
        decoded.refusals.add(error.outcome, error.detail)
        return
    for slots, slot, tokens in route.picks:
        try:
            decoded.picked.append((slots, slot, number_at(document, tokens)))
        except PointerError as error:
            decoded.refusals.add(error.outcome, f"{slot.channel.id}: {error.detail}")
    decoded.needs_receipt = bool(decoded.picked)

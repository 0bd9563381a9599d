"""Takes messages in: decode, first receipts, rules, conversion. Commits nothing itself."""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from steadybead_collector.ingest.decode import Decoded, decode
from steadybead_collector.ingest.place import place
from steadybead_collector.ingest.receipts import FirstReceipt, Receipts, Remember
from steadybead_collector.ingest.refusals import Allowance, Refusals
from steadybead_collector.ingest.routes import Kind, Routes
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_domain.conversion.wire import WireColumns
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Conflict
from steadybead_domain.readings import Batch, Columns, Reading

LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Told:
    """A message of a station that is no reading: `weld` or `online`."""

    station: StationId
    guns: tuple[str, ...]
    decoded: Decoded


@dataclass(slots=True)
class Taken:
    """What a batch of messages brought, ready to be committed.

    `wires` keeps what came in per channel, so that a conflict finds its message again.
    """

    messages: Sequence[Message]
    decoded: list[Decoded]
    batch: Batch
    wires: dict[ChannelId, WireColumns]
    first_pack: int
    welds: list[Told] = field(default_factory=list)
    onlines: list[Told] = field(default_factory=list)

    def source_of(self, conflict: Conflict) -> Decoded:
        """Find the message that brought the refused value of a conflict."""
        wires = self.wires[conflict.channel]
        same = (wires.time == conflict.time) & (
            wires.wire.view(np.int64) == np.float64(conflict.refused_raw).view(np.int64)
        )
        return self.decoded[int(wires.pack[np.flatnonzero(same)[-1]]) - self.first_pack]


class Intake:
    """Keeps what conversion and first receipts must remember from batch to batch."""

    def __init__(self, plant: Plant, root: str, receipts: Receipts) -> None:
        self.routes = Routes(plant, root)
        self.receipts = receipts
        self.allowance = Allowance(f"{root}/{plant.site}/+/senml")
        self._next_pack = 0

    def prime(self, latest: Callable[[Sequence[ChannelId]], dict[ChannelId, Reading]]) -> None:
        """Take up cold junctions and counts where the store left off."""
        for slots in self.routes.stations:
            slots.converter.prime(latest([c.id for c in slots.station.channels]))

    def decode(self, messages: Sequence[Message]) -> list[Decoded]:
        """Decode messages; a fault of ours refuses the one message that shows it."""
        return [self._decode(message) for message in messages]

    def first_receipts(
        self, decoded: Sequence[Decoded], remember: Remember
    ) -> dict[int, FirstReceipt]:
        """Give first receipts by the message's place; durable when this returns."""
        places = [i for i, d in enumerate(decoded) if d.needs_receipt]
        found = self.receipts.first([decoded[i].message for i in places], remember)
        return dict(zip(places, found, strict=True))

    def take_or_none(
        self,
        messages: Sequence[Message],
        decoded: list[Decoded],
        receipts: Mapping[int, FirstReceipt],
    ) -> Taken | None:
        """Apply the rules and convert; None, with a clean slate, if a fault of ours shows."""
        try:
            return self.take(messages, decoded, receipts)
        except Exception:
            LOG.exception("a batch of %d messages cannot be converted", len(messages))
            for slots in self.routes.stations:
                slots.gathered()
            return None

    def take(
        self,
        messages: Sequence[Message],
        decoded: list[Decoded],
        receipts: Mapping[int, FirstReceipt],
    ) -> Taken:
        """Apply the rules and convert. To be called once for each batch: conversion remembers."""
        first_pack = self._next_pack
        self._next_pack += len(decoded)
        for i, item in enumerate(decoded):
            place(item, receipts.get(i), first_pack + i)
        received = max((m.received for m in messages), default=0)
        columns, wires = self._convert()
        taken = Taken(messages, decoded, Batch(received, columns), wires, first_pack)
        for item in decoded:
            self._sort_told(item, taken)
        return taken

    def _decode(self, message: Message) -> Decoded:
        try:
            return decode(message, self.routes)
        except Exception as error:  # noqa: BLE001  one message must never stop the others
            refusals = Refusals(message)
            refusals.add(Outcome.INTERNAL, f"{type(error).__name__}: {error}"[:300])
            return Decoded(message, refusals)

    def _convert(self) -> tuple[dict[ChannelId, Columns], dict[ChannelId, WireColumns]]:
        columns: dict[ChannelId, Columns] = {}
        wires: dict[ChannelId, WireColumns] = {}
        for slots in self.routes.stations:
            gathered = slots.gathered()
            if gathered:
                columns |= slots.converter.convert(gathered)
                by_name = slots.by_name
                wires |= {by_name[name].channel.id: rows for name, rows in gathered.items()}
        return columns, wires

    def _sort_told(self, item: Decoded, taken: Taken) -> None:
        route = item.route
        if route is None or route.slots is None or item.refusals.counts():
            return
        station = route.slots.station
        if route.kind is Kind.WELD:
            taken.welds.append(Told(station.id, station.guns, item))
        elif route.kind is Kind.ONLINE:
            taken.onlines.append(Told(station.id, station.guns, item))

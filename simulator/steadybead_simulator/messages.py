"""The MQTT messages of the shop, in the order in which they arrive."""

import heapq
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.plant import Channel, Station
from steadybead_domain.readings import Int64
from steadybead_domain.times import SECOND, format_rfc3339
from steadybead_simulator.day import Tell
from steadybead_simulator.edge import NEVER, Sent
from steadybead_simulator.shop import Shop, StationStep
from steadybead_simulator.truth import Truth

ROOT = "steadybead/v1"


@dataclass(frozen=True, slots=True)
class Message:
    """One MQTT message at QoS 1; `at` is when it arrives, true time in µs."""

    at: int
    station: str
    topic: str
    payload: bytes
    retain: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """Messages of one station's block, ascending, with what was really so."""

    messages: list[Message]
    truth: list[Truth]


class StationMessages:
    """Turns one station's blocks into messages; what is delayed waits here."""

    def __init__(self, shop: Shop, station: Station, root: str = ROOT) -> None:
        self._shop, self._station = shop, station
        self._topic = f"{root}/{station.id.site}/{station.id.station}"
        own = [c for c in station.channels if c.source is None]
        self._heads = {c: f'"n":"{c.id.channel}","u":"{c.wire_unit}","v":' for c in own}
        self._foreign: dict[str, list[Channel]] = {}
        for channel in station.channels:
            if channel.source is not None:
                self._foreign.setdefault(channel.source.topic, []).append(channel)
        self._waiting: list[Message] = []
        self._on_line = False
        self._size = max(1, round(shop.scenario.pack_s / shop.scenario.sample_s))

    def steps(self, end_s: float = math.inf) -> Iterator[Step]:
        """Walk the station's blocks as messages."""
        for step in self._shop.walk(self._station, end_s):
            yield Step(self._ripe(step), step.truth)

    def _ripe(self, step: StationStep) -> list[Message]:
        self._waiting += self._presence(step)
        if step.sent is not None:
            self._waiting += self._packs(step.sent)
            self._waiting += [self._tell(t) for t in step.sent.block.tells]
        self._waiting.sort(key=lambda m: m.at)
        end = self._shop.us(300.0 * (step.index + 1))
        ripe = [m for m in self._waiting if m.at < end]
        self._waiting = self._waiting[len(ripe) :]
        return ripe

    def _presence(self, step: StationStep) -> Iterator[Message]:
        """Say on line when the node gets power, off line when it loses it."""
        powered = np.zeros(1, np.bool_) if step.sent is None else step.sent.block.powered
        t = np.zeros(1) + 300.0 * step.index if step.sent is None else step.sent.block.t
        before = np.concatenate(([self._on_line], powered[:-1]))
        for i in np.flatnonzero(powered != before):
            word = b"1" if powered[i] else b"0"
            yield self._message(self._shop.us(float(t[i])) - 1000, "online", word, retain=True)
        self._on_line = bool(powered[-1])

    def _message(self, at: int, suffix: str, payload: bytes, *, retain: bool = False) -> Message:
        name = self._station.id.station
        return Message(at, name, f"{self._topic}/{suffix}", payload, retain)

    def _packs(self, sent: Sent) -> Iterator[Message]:
        """Cut a block into packs: `pack` seconds of samples, as far as they are sent."""
        columns = {c: sent.raw[c].tolist() for c in self._heads}
        twins = {c: sent.twin_raw[c].tolist() for c in self._heads} if sent.twin_raw else {}
        for first in range(0, len(sent.clock), self._size):
            rows = range(first, min(first + self._size, len(sent.clock)))
            rows_sent = [i for i in rows if sent.sent[i] != NEVER]
            if not rows_sent:
                continue
            at = int(sent.sent[rows_sent[-1]])
            if (payload := self._pack(sent.clock, columns, rows_sent)) is not None:
                yield self._message(at, "senml", payload)
            if twins and sent.twin[first]:
                payload = self._pack(sent.clock, twins, rows_sent)
                yield self._message(at + 3000, "senml", payload or b"[]")
            for topic, channels in self._foreign.items():
                values = {c: float(sent.raw[c][rows_sent[-1]]) for c in channels}
                yield Message(at, self._station.id.station, topic, _pointed(values))

    def _pack(
        self, clock: Int64, columns: dict[Channel, list[float]], rows: list[int]
    ) -> bytes | None:
        base = int(clock[rows[0]])
        records = []
        for i in rows:
            ahead = int(clock[i]) - base
            time = f',"t":{ahead / SECOND:g}' if ahead else ""
            for channel, head in self._heads.items():
                value = columns[channel][i]
                if math.isfinite(value):
                    records.append(f"{head}{value:.12g}{time}")
        if not records:
            return None
        whole, ms = base // SECOND, base % SECOND // 1000
        return f'[{{"bt":{whole}.{ms:03d},{"},{".join(records)}}}]'.encode()

    def _tell(self, tell: Tell) -> Message:
        at = self._shop.us(tell.at_s)
        members: dict[str, Any] = {
            "event": tell.event, "gun": tell.gun, "time": format_rfc3339(at), "weld": tell.weld,
        }  # fmt: skip
        if tell.event == "start":
            members |= {"job": tell.job, "seam": tell.seam, "welder": tell.welder}
            if self._station.procedure is not None:
                members["procedure"] = self._station.procedure
        return self._message(at + 20_000, "weld", json.dumps(members).encode())


def _pointed(values: dict[Channel, float]) -> bytes:
    """Build the JSON payload in which every channel's RFC 6901 pointer finds its number."""
    whole: dict[str, Any] = {}
    for channel, value in values.items():
        pointer = "" if channel.source is None else channel.source.pointer
        if pointer == "":
            return json.dumps(value).encode()
        *way, last = [p.replace("~1", "/").replace("~0", "~") for p in pointer[1:].split("/")]
        place = whole
        for step in way:
            place = place.setdefault(step, {})
        place[last] = None if math.isnan(value) else value
    return json.dumps(whole).encode()


def messages(shop: Shop, end_s: float = math.inf, root: str = ROOT) -> Iterator[Step]:
    """Merge all stations; every step holds one message, or the truth of a block."""
    walks = [_flat(i, StationMessages(shop, s, root)) for i, s in enumerate(shop.plant.stations)]
    merged = heapq.merge(*(w(end_s) for w in walks), key=lambda item: item[:2])
    for _, _, step in merged:
        yield step


def _flat(i: int, source: StationMessages) -> Any:
    def walk(end_s: float) -> Iterator[tuple[int, int, Step]]:
        last = 0
        for step in source.steps(end_s):
            if step.truth:
                yield last, i, Step([], step.truth)
            for message in step.messages:
                last = message.at
                yield message.at, i, Step([message], [])

    return walk

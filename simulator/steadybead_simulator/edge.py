"""The edge node of a station: its clock, its buffer, what it loses and what it sends twice."""

from dataclasses import dataclass, field

import numpy as np

from steadybead_domain.ids import StationId
from steadybead_domain.plant import Channel
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.times import SECOND
from steadybead_simulator.harm import Harm
from steadybead_simulator.randomness import lowpass, stream
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.spans import Mask
from steadybead_simulator.station import StationBlock

NEVER = -1
SYNC_S = 1024.0  # how often the node's clock is set (a usual NTP interval)
RESEND_US = 20_000


@dataclass(slots=True)
class Sent:
    """One block as it leaves the node.

    `clock` int64 [n]: the time stamps, µs, ascending. `sent` int64 [n]: when the reading's pack
    arrives, true time in µs, NEVER if it is lost. `raw` float64 [n] by channel, NaN: left out.
    `twin` [n]: a second node sends this too, with its own values `twin_raw`.
    """

    block: StationBlock
    clock: Int64
    sent: Int64
    raw: dict[Channel, Float64]
    twin: Mask
    twin_raw: dict[Channel, Float64] = field(default_factory=dict)


class EdgeNode:
    """Stamps and sends what the instruments show."""

    def __init__(self, scenario: Scenario, station: StationId, seed: int, start_us: int) -> None:
        self._scenario, self._seed, self._start_us = scenario, seed, start_us
        self._key = str(station)
        self._faults = scenario.faults_of(station.station)
        rng = stream(seed, "node", self._key)
        self._ppm = float(rng.normal(0.0, 8.0))
        self._latency_s = float(rng.uniform(0.015, 0.06))
        self._wander = 0.0

    def send(self, block: StationBlock) -> Sent:
        """Stamp and send one block; blocks come in order."""
        t = block.t
        harm = block.harm
        rng = stream(self._seed, "edge", self._key, block.index + 10_000)
        clock = self._stamp(t, harm, rng)
        sent = self._times(block, harm, rng)
        raw = {
            c: np.where(harm.active("channel_silence", channel=c.id.channel), np.nan, v)
            for c, v in block.raw.items()
        }
        twin = harm.active("duplicate_device") & (sent != NEVER)
        result = Sent(block, clock, sent, raw, twin)
        if twin.any():
            shift = 1.0 + 0.02 * rng.standard_normal()
            result.twin_raw = {c: np.round(v * shift, 3) for c, v in raw.items()}
        return result

    def _stamp(self, t: Float64, harm: Harm, rng: np.random.Generator) -> Int64:
        """Give the node's clock: it drifts between two settings and wanders by some ms."""
        since = np.mod(t + 400.0 * self._latency_s, SYNC_S)
        slow = lowpass(rng.standard_normal(len(t)), 0.98, self._wander)
        self._wander = float(slow[-1])
        error = 1e-6 * self._ppm * since + 0.02 * slow + harm.amount("clock_offset")
        ms = np.round((self._start_us / SECOND + t + error) * 1000.0).astype(np.int64)
        return ms * 1000

    def _times(self, block: StationBlock, harm: Harm, rng: np.random.Generator) -> Int64:
        """Give the arrival of each sample's pack: whole packs travel, are kept or get lost."""
        t, n = block.t, len(block.t)
        size = max(1, round(self._scenario.pack_s / self._scenario.sample_s))
        pack = np.arange(n) // size
        ends = t[np.minimum(pack * size + size - 1, n - 1)]
        jitter = np.repeat(rng.exponential(0.012, pack[-1] + 1), size)[:n]
        arrives = ends + self._latency_s + jitter
        outage = block.outage | harm.active("link_outage")
        for first, last in _stretches(outage):
            back = self._back(float(t[last - 1]), block)
            order = pack[first:last] - pack[first]
            arrives[first:last] = back + order * (RESEND_US / SECOND)
        arrives = np.maximum.accumulate(arrives)
        lucky = np.repeat(rng.random(pack[-1] + 1), size)[:n]
        lost = lucky < harm.amount("message_loss") / 100.0
        dumb = ~block.powered | harm.active("silence") | lost
        sent = self._start_us + np.round(arrives * SECOND).astype(np.int64)
        return np.where(dumb, NEVER, sent)

    def _back(self, last_s: float, block: StationBlock) -> float:
        """Find when the link is back: the end of the outage that holds `last_s`."""
        ends = [f.end_s for f in self._faults if f.kind.name == "link_outage"]
        ends += [end for _, end in block.outages]
        step = self._scenario.sample_s
        later = [e for e in ends if e > last_s]
        back = min(later) if later else last_s + step
        return min(back, last_s + 86_400.0) + self._latency_s


def _stretches(mask: Mask) -> list[tuple[int, int]]:
    """Give the stretches [first, last) in which the mask holds."""
    if not mask.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]

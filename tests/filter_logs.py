"""Filter logs of a made-up blower: exponential or straight growth, flow, pauses, faults."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.diagnosis.filter_data import Sample


@dataclass(frozen=True)
class Run:
    """One run to its limit: `life_s` of running, `n` samples, drop in Pa at the usual flow."""

    life_s: float = 100.0
    n: int = 1000
    limit_pa: float = 600.0
    start: float = 0.02
    straight: bool = False
    noise_pa: float = 3.0
    offset_pa: float = 0.0
    seed: int = 1

    def drop_pa(self, share: np.ndarray) -> np.ndarray:
        """Give the clean drop at shares of the life."""
        rise = (
            self.start + (1 - self.start) * share if self.straight else self.start ** (1.0 - share)
        )
        return np.asarray(self.limit_pa * rise)

    def samples(self, until: float = 1.0) -> list[Sample]:
        """Give the log of a constant flow that is not recorded."""
        share = np.arange(round(self.n * until)) / self.n
        draw = np.random.default_rng(self.seed)
        seen = self.drop_pa(share) + self.offset_pa
        seen = seen + self.noise_pa * draw.standard_normal(len(share))
        rows = zip(share * self.life_s, seen, strict=True)
        return [Sample(float(t), float(p)) for t, p in rows]

    def with_flow(self, exponent: float = 1.4, until: float = 1.0) -> list[Sample]:
        """Give the log of one or two guns by turns, with pauses; pauses last no life."""
        draw = np.random.default_rng(self.seed)
        rows: list[Sample] = []
        volume, time, step = 0.0, 0.0, self.life_s / self.n
        while volume < until * self.life_s * 80.0:
            turn = int(time / step) % 120
            flow = 0.0 if turn >= 100 else 100.0 if turn % 40 < 20 else 50.0
            share = volume / (self.life_s * 80.0)
            clean = self.drop_pa(np.array([share]))[0] * (flow / 100.0) ** exponent
            seen = clean + self.offset_pa + self.noise_pa * draw.standard_normal()
            rows.append(Sample(time, float(seen), flow * (1 + 0.005 * draw.standard_normal())))
            volume += flow * step
            time += step
        return rows

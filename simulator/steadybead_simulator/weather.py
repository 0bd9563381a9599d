"""What all stations of a site share: the air of the hall and the mains, block by block."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_domain.times import SECOND
from steadybead_simulator.gas import saturation_pa
from steadybead_simulator.randomness import stream
from steadybead_simulator.scenario import Scenario

BLOCK_S = 300.0
_DAY_S = 86_400.0
_YEAR_S = 365.2422 * _DAY_S
_FRONTS = 6  # slow waves of 2 to 9 days that stand for the weather
_KNOTS = 30  # changes of the mains a block, 10 s apart


@dataclass(frozen=True, slots=True, eq=False)
class HallBlock:
    """The hall in one block, float64 [n]: air, moisture and the site's supply voltage."""

    t_c: Float64
    pressure_pa: Float64
    vapour_pa: Float64
    volts: Float64


class Hall:
    """The hall's air and mains as a function of the seed and time alone.

    Season, day and weather fronts move the outdoor air; the hall follows damped and is heated to
    a floor. Pressure falls with altitude (exponential atmosphere, scale height 8,434 m) and swings
    by some hPa. All amplitudes are assumptions within the span of mid-latitude weather.
    """

    def __init__(self, scenario: Scenario, seed: int, start_us: int) -> None:
        self._scenario = scenario
        self._seed = seed
        self._start_s = start_us / SECOND
        rng = stream(seed, "weather")
        self._periods = rng.uniform(2.0, 9.0, _FRONTS) * _DAY_S
        self._phases = rng.uniform(0.0, 2 * np.pi, (3, _FRONTS))
        self._cache: dict[int, HallBlock] = {}

    def block(self, index: int, t: Float64) -> HallBlock:
        """Give block `index` at its times t [n], s since the scenario's start."""
        kept = self._cache.get(index)
        if kept is None or len(kept.t_c) != len(t):
            air = self._air(t)
            kept = HallBlock(*air, self._volts(index, t))
            self._cache = {k: b for k, b in self._cache.items() if k > index - 3}
            self._cache[index] = kept
        return kept

    def last_t_c(self, index: int, t: Float64) -> float:
        """Give the air's temperature at the end of block `index`, °C, without its mains."""
        kept = self._cache.get(index)
        return float((self._air(t[[0, -1]])[0] if kept is None else kept.t_c)[-1])

    def _air(self, t: Float64) -> tuple[Float64, Float64, Float64]:
        """Work out the two ends of the block and draw straight lines between them."""
        ends = self._start_s + np.array([t[0], t[-1] + 1e-9])
        fronts = [
            np.sin(2 * np.pi * ends[:, None] / self._periods + p).sum(axis=1) / np.sqrt(_FRONTS / 2)
            for p in self._phases
        ]
        w = self._scenario.weather
        season = -np.cos(2 * np.pi * (ends / _YEAR_S - 0.052))
        day = -np.cos(2 * np.pi * (ends / _DAY_S - 0.14))
        outdoors = w.mean_c + w.season_k * season + w.day_k * day + 2.5 * fronts[0]
        wished = w.hall_low_c + 0.8 * day
        hall = wished + 2.0 * np.log1p(np.exp((outdoors + 3.0 - wished) / 2.0))
        pressure = 101_325.0 * np.exp(-w.altitude_m / 8434.0) + 700.0 * fronts[1]
        humidity = np.clip(0.74 - 0.05 * day + 0.09 * fronts[2], 0.2, 1.0)
        vapour = np.minimum(humidity * saturation_pa(outdoors), 0.95 * saturation_pa(hall))
        share = (t - t[0]) / max(t[-1] - t[0], 1.0)
        return (
            hall[0] + share * (hall[1] - hall[0]),
            pressure[0] + share * (pressure[1] - pressure[0]),
            vapour[0] + share * (vapour[1] - vapour[0]),
        )

    def _volts(self, index: int, t: Float64) -> Float64:
        """Give the supply: a slow swing, loads that come and go, dips as machines start."""
        mains = self._scenario.mains
        rng = stream(self._seed, "mains", index + 10_000)
        following = stream(self._seed, "mains", index + 10_001).standard_normal()
        knots = np.append(rng.standard_normal(_KNOTS), following)
        at = np.linspace(t[0], t[0] + BLOCK_S, _KNOTS + 1)
        unrest = mains.unrest * mains.voltage_v
        day = np.cos(2 * np.pi * ((self._start_s + t) / _DAY_S - 0.15))
        volts = mains.voltage_v * 1.005 + unrest * (0.004 * np.interp(t, at, knots) + 0.006 * day)
        volts += unrest * 0.0012 * rng.standard_normal(len(t))
        for start in rng.uniform(t[0], t[0] + BLOCK_S, rng.poisson(1.2)):
            depth, lasts = rng.uniform(0.008, 0.035), rng.uniform(0.6, 2.5)
            volts -= unrest * depth * np.exp(-np.clip((t - start) / lasts, 0, 50)) * (t >= start)
        return np.asarray(volts, np.float64)

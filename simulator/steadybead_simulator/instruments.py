"""Instruments: from what is really so to the number on the wire."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.conversion.specs import (
    CurrentLoop,
    FlowPrinciple,
    FlowReference,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_simulator import thermocouple
from steadybead_simulator.gas import DENSITY_DIN_1343
from steadybead_simulator.units import convert
from steadybead_simulator.wire import scaled

_Q = Quantity
# Noise (one sigma) and resolution in the engineering unit, tolerance as share and as offset;
# assumptions in the order of industrial data sheets.
_GRADE: dict[Quantity, tuple[float, float, float, float]] = {
    _Q.NOZZLE_TEMPERATURE: (0.18, 0.1, 0.002, 0.4),
    _Q.SET_TEMPERATURE: (0.0, 1.0, 0.0, 0.0),
    _Q.CONTROLLER_TEMPERATURE: (0.25, 0.1, 0.003, 0.8),
    _Q.TERMINAL_TEMPERATURE: (0.04, 0.01, 0.0, 0.25),
    _Q.AIR_FLOW: (0.22, 0.05, 0.012, 0.15),
    _Q.GUN_INLET_TEMPERATURE: (0.06, 0.1, 0.0, 0.3),
    _Q.HEATER_POWER: (1.5, 1.0, 0.008, 0.5),
    _Q.HEATER_OUTPUT: (0.1, 0.1, 0.0, 0.0),
    _Q.HEATER_CURRENT: (0.006, 0.01, 0.008, 0.0),
    _Q.CONTACT_FORCE: (0.4, 0.1, 0.02, 0.3),
    _Q.TRAVEL_SPEED: (6.0, 1.0, 0.01, 0.0),
    _Q.FILTER_PRESSURE_DROP: (1.2, 0.5, 0.01, 0.8),
    _Q.OUTLET_PRESSURE: (14.0, 1.0, 0.005, 15.0),
    _Q.INTAKE_TEMPERATURE: (0.05, 0.1, 0.0, 0.3),
    _Q.INTAKE_HUMIDITY: (0.3, 0.1, 0.01, 1.5),
    _Q.AMBIENT_PRESSURE: (4.0, 1.0, 0.0, 60.0),
    _Q.SUPPLY_VOLTAGE: (0.08, 0.1, 0.004, 0.0),
    _Q.MOTOR_CURRENT: (0.01, 0.01, 0.01, 0.0),
}
_WIRE_STEP = {"mV": 0.002, "mA": 0.002, "V": 0.001, "A": 2e-6}
_REFERENCE_DENSITY = {
    FlowReference.ACTUAL: 1.2041,  # 20 °C, 101.325 kPa, dry
    FlowReference.DIN_1343: DENSITY_DIN_1343,
    FlowReference.ISO_2533: 1.2250,
    FlowReference.ANR: 1.185,
}
_CALIBRATION_DENSITY = 1.2041
LOOP_UPSCALE_MA = 21.6  # the usual failure current upscale (NAMUR NE 43, from memory)


@dataclass(frozen=True, slots=True, eq=False)
class Disturbed:
    """What faults do to one instrument in one block, float64 or bool [n]."""

    gain: Float64
    offset: Float64
    opened: np.ndarray[tuple[int], np.dtype[np.bool_]]
    stuck: np.ndarray[tuple[int], np.dtype[np.bool_]]
    swapped: np.ndarray[tuple[int], np.dtype[np.bool_]]
    wrong: np.ndarray[tuple[int], np.dtype[np.bool_]]
    tube_off: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What an instrument needs of its surroundings, float64 [n]."""

    meter_density: Float64
    humidity_g_kg: Float64
    terminal_c: Float64


class Instrument:
    """One sensor with its own errors, at one channel; keeps a counter and its last reading."""

    def __init__(self, channel: Channel, rng: np.random.Generator, sample_s: float) -> None:
        self.channel = channel
        noise, step, share, offset = _GRADE.get(channel.quantity, (0.0, 1.0, 0.0, 0.0))
        self._noise = noise
        self.gain = float(rng.uniform(-share, share))
        self.offset = float(rng.uniform(-offset, offset))
        self._hum = rng.uniform(0.02, 0.12), rng.uniform(0.05, 0.4), rng.uniform(0.0, 6.28)
        self._minutes = sample_s / 60.0
        self._count = float(rng.integers(0, 100_000))
        self._last_raw: float | None = None
        self._step, self._decimals = _wire_step(channel, step)

    def read(
        self,
        t: Float64,
        true: Float64,
        around: Surroundings,
        harm: Disturbed | None,
        rng: np.random.Generator,
    ) -> Float64:
        """Give what goes over the wire for the true values [n]."""
        value = self._shown(true, around)
        value = value * (1.0 + self.gain) + self.offset
        value = value + self._noise * rng.standard_normal(len(t))
        if self.channel.quantity is Quantity.NOZZLE_TEMPERATURE:
            size, hertz, phase = self._hum
            value += size * np.sin(6.283 * hertz * t + phase)
        if harm is not None:
            value = self._harmed(value, around, harm)
        raw = self._quantised(self._wire(value, around, harm))
        if harm is not None:
            raw = self._held(raw, harm)
        self._last_raw = float(raw[-1]) if len(raw) else self._last_raw
        return raw

    def _shown(self, true: Float64, around: Surroundings) -> Float64:
        """Flow meters show what their principle lets them; the rest show what is there."""
        if self.channel.quantity is not Quantity.AIR_FLOW:
            return true
        meter = self.channel.flow or FlowMeter()
        if meter.principle is FlowPrinciple.THERMAL_MASS:
            wet = 1.0 + 0.0009 * around.humidity_g_kg
            return true * 60_000.0 / _REFERENCE_DENSITY[meter.reference] * wet
        if meter.reference is not FlowReference.ACTUAL:
            return true * 60_000.0 / _REFERENCE_DENSITY[meter.reference]
        actual = true * 60_000.0 / around.meter_density
        if meter.principle is FlowPrinciple.ACTUAL_VOLUME:
            return actual
        return actual * np.sqrt(around.meter_density / _CALIBRATION_DENSITY)

    def _harmed(self, value: Float64, around: Surroundings, harm: Disturbed) -> Float64:
        value = value * (1.0 + harm.gain) + harm.offset
        if harm.tube_off.any():
            value = np.where(harm.tube_off, 0.02 * value + self.offset, value)
        if harm.swapped.any():
            value = np.where(harm.swapped, 2.0 * around.terminal_c - value, value)
        return value

    def _wire(self, value: Float64, around: Surroundings, harm: Disturbed | None) -> Float64:
        """Put the engineering value on the wire, as the plant file says it is converted back."""
        channel, spec = self.channel, self.channel.conversion
        if isinstance(spec, Thermocouple):
            return self._emf(spec, value, around, harm)
        if harm is not None and harm.wrong.any():
            shown = thermocouple.temperature_c("K", thermocouple.emf_mv("J", value))
            value = np.where(harm.wrong, shown, value)
        if spec is None:
            return convert(value, channel.unit, channel.wire_unit)
        if isinstance(spec, PulseCounter):
            return self._pulses(spec, value)
        return scaled(channel, spec, convert(value, channel.unit, spec.to))

    def _emf(
        self, spec: Thermocouple, value: Float64, around: Surroundings, harm: Disturbed | None
    ) -> Float64:
        """Subtract the terminal's emf: an instrument at a fixed 0 °C reference sees none."""
        fixed = isinstance(spec.cold_junction, int | float)
        cold = np.full_like(value, spec.cold_junction) if fixed else around.terminal_c
        mv = thermocouple.emf_mv(spec.type, value) - thermocouple.emf_mv(spec.type, cold)
        if harm is not None and harm.wrong.any():
            other = thermocouple.emf_mv("J", value) - thermocouple.emf_mv("J", cold)
            mv = np.where(harm.wrong, other, mv)
        return convert(mv, "mV", self.channel.wire_unit)

    def _pulses(self, spec: PulseCounter, value: Float64) -> Float64:
        flow = np.maximum(convert(value, self.channel.unit, "L/min"), 0.0)
        count = self._count + np.cumsum(flow) * self._minutes / spec.litres_per_pulse
        self._count = float(count[-1]) % spec.rolls_over_at
        return np.floor(count) % spec.rolls_over_at

    def _quantised(self, raw: Float64) -> Float64:
        return np.round(np.round(raw / self._step) * self._step, self._decimals) + 0.0

    def _held(self, raw: Float64, harm: Disturbed) -> Float64:
        if harm.opened.any():
            raw = np.where(harm.opened, self.upscale(), raw)
        if harm.stuck.any():
            first = int(np.argmax(harm.stuck))
            before = self._last_raw if first == 0 else float(raw[first - 1])
            raw = np.where(harm.stuck, raw[first] if before is None else before, raw)
        return raw

    def upscale(self) -> float:
        """Give what is sent when the wire is broken: driven past the upper end."""
        spec, unit = self.channel.conversion, self.channel.wire_unit
        if isinstance(spec, Thermocouple):
            shown, own = np.array([thermocouple.UPSCALE_MV[spec.type]]), "mV"
        elif isinstance(spec, CurrentLoop):
            shown, own = np.array([LOOP_UPSCALE_MA]), "mA"
        elif isinstance(spec, VoltageLoop | PulseCounter | SquareRoot | Linear):
            return 0.0
        else:
            shown, own = np.array([self.channel.quantity.facts.high * 1.2]), self.channel.unit
        return float(self._quantised(convert(shown, own, unit))[0])


def _wire_step(channel: Channel, step: float) -> tuple[float, int]:
    """Give resolution and decimals on the wire."""
    if isinstance(channel.conversion, PulseCounter):
        return 1.0, 0
    if channel.wire_unit in _WIRE_STEP and channel.conversion is not None:
        wire = _WIRE_STEP[channel.wire_unit]
    elif channel.conversion is None:
        ends = convert(np.array([0.0, step]), channel.unit, channel.wire_unit)
        wire = float(ends[1] - ends[0])
    else:
        wire = step
    return wire, max(0, int(np.ceil(-np.log10(wire) - 1e-9)) + (0 if wire >= 1 else 1))

"""From engineering units to the wire and back, as the plant file says it is converted."""

from collections.abc import Mapping

import numpy as np

from steadybead_domain.conversion.specs import (
    CurrentLoop,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.plant import Channel
from steadybead_domain.readings import Float64
from steadybead_simulator import thermocouple
from steadybead_simulator.units import convert


def scaled(
    channel: Channel, spec: CurrentLoop | VoltageLoop | SquareRoot | Linear, value: Float64
) -> Float64:
    """Put a value in unit `spec.to` on the wire."""
    if isinstance(spec, CurrentLoop):
        share = (value - spec.at_4_ma) / (spec.at_20_ma - spec.at_4_ma)
        return convert(np.clip(4.0 + 16.0 * share, 3.8, 20.5), "mA", channel.wire_unit)
    if isinstance(spec, VoltageLoop):
        share = (value - spec.at_low) / (spec.at_high - spec.at_low)
        volts = spec.low_v + (spec.high_v - spec.low_v) * share
        return convert(volts, "V", channel.wire_unit)
    if isinstance(spec, SquareRoot):
        drop = spec.full_drop_pa * (value / spec.at_full) ** 2
        return convert(drop, "Pa", channel.wire_unit)
    return (value - spec.offset) / spec.factor


def engineering(
    channel: Channel, raw: Float64, terminals: Mapping[str, Float64], sample_s: float
) -> Float64:
    """Turn the wire's numbers [n] back into engineering units, for tests without a collector.

    `terminals`: °C of the channels that serve as cold junctions. NaN stays NaN.
    """
    spec, unit = channel.conversion, channel.wire_unit
    if spec is None:
        return convert(raw, unit, channel.unit)
    if isinstance(spec, Thermocouple):
        junction = spec.cold_junction
        cold = terminals[junction] if isinstance(junction, str) else np.full_like(raw, junction)
        mv = convert(raw, unit, "mV") + thermocouple.emf_mv(spec.type, cold)
        return thermocouple.temperature_c(spec.type, mv)
    if isinstance(spec, PulseCounter):
        rise = np.diff(raw, prepend=raw[:1]) % spec.rolls_over_at
        return rise * spec.litres_per_pulse * 60.0 / sample_s
    return convert(_unscaled(spec, unit, raw), spec.to, channel.unit)


def _unscaled(
    spec: CurrentLoop | VoltageLoop | SquareRoot | Linear, unit: str, raw: Float64
) -> Float64:
    """Turn the wire's number back into unit `spec.to`."""
    if isinstance(spec, CurrentLoop):
        share = (convert(raw, unit, "mA") - 4.0) / 16.0
        return spec.at_4_ma + share * (spec.at_20_ma - spec.at_4_ma)
    if isinstance(spec, VoltageLoop):
        share = (convert(raw, unit, "V") - spec.low_v) / (spec.high_v - spec.low_v)
        return spec.at_low + share * (spec.at_high - spec.at_low)
    if isinstance(spec, SquareRoot):
        drop = np.maximum(convert(raw, unit, "Pa"), 0.0)
        return spec.at_full * np.sqrt(drop / spec.full_drop_pa)
    return spec.offset + spec.factor * raw

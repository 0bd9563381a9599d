"""Conversion of what one station sends, batch by batch, into engineering units."""

from collections.abc import Mapping

import numpy as np

from steadybead_domain.conversion.carried import Carried
from steadybead_domain.conversion.cold_junction import ColdJunction
from steadybead_domain.conversion.counter import check_counter, pulse_flow
from steadybead_domain.conversion.hot_junction import ColdJunctionOf, thermocouple_step
from steadybead_domain.conversion.specs import PulseCounter, Thermocouple
from steadybead_domain.conversion.steps import Step, check_limits, memoryless_step
from steadybead_domain.conversion.thermocouple import JUNCTION_RANGE_C
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.conversion.wire import Marks, Mask, WireColumns
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.readings import Columns, Float64, Int64, Quality, Reading, Reason, UInt32
from steadybead_domain.times import MINUTE, SECOND

__all__ = ["ConversionError", "StationConverter", "WireColumns"]


class ConversionError(ValueError):
    """Wiring that cannot be converted; the message names the channel and the remedy."""


class StationConverter:
    """Converts one station's readings; keeps cold junctions and pulse counts between batches.

    What comes out depends on the order of packs, not on how they are cut into batches. Raises
    ConversionError for wiring that makes no sense, such as an unknown unit or cold junction.
    """

    def __init__(self, station: Station, plant_version: int) -> None:
        self._plant = plant_version
        self._plants: UInt32 = np.empty(0, np.uint32)
        self._channels = {channel.id.channel: channel for channel in station.channels}
        self._junctions: dict[str, tuple[ColdJunction, float, float]] = {}
        self._counters: dict[str, tuple[Carried, float, float]] = {}
        self._steps: dict[str, Step] = {}
        self._thermocouples: dict[str, Step] = {}
        for name, channel in self._channels.items():
            try:
                self._add(name, channel)
            except ValueError as error:
                raise ConversionError(f"channel {name}: {error}") from None

    def convert(self, columns: Mapping[str, WireColumns]) -> dict[ChannelId, Columns]:
        """Convert one batch, keyed by channel id within the station; rows keep their order.

        A name that the station does not have raises KeyError: sort those out before.
        """
        result: dict[ChannelId, Columns] = {}
        with np.errstate(over="ignore", invalid="ignore"):
            for name, rows in columns.items():
                if name not in self._thermocouples:
                    self._convert_one(name, self._steps[name], rows, result)
            for name in self._junctions:
                self._begin_junction(name, columns, result)
            for name, step in self._thermocouples.items():
                if name in columns:
                    self._convert_one(name, step, columns[name], result)
        return result

    def prime(self, latest: Mapping[ChannelId, Reading]) -> None:
        """Take up cold junctions and pulse counts where the store left off, after a restart."""
        for channel_id, reading in latest.items():
            name = channel_id.channel
            if name in self._counters and _is_count(reading):
                carried, factor, offset = self._counters[name]
                carried.prime(reading.time, reading.raw * factor + offset)
            if name in self._junctions and reading.quality is not Quality.BAD:
                junction, factor, offset = self._junctions[name]
                junction.prime(reading.time, (reading.value or 0.0) * factor + offset)

    def _add(self, name: str, channel: Channel) -> None:
        match channel.conversion:
            case Thermocouple():
                self._thermocouples[name] = thermocouple_step(
                    channel.conversion,
                    channel.wire_unit,
                    channel.quantity.facts,
                    self._cold_junction(channel.conversion.cold_junction),
                )
            case PulseCounter():
                self._steps[name] = self._counter_step(name, channel, channel.conversion)
            case _:
                self._steps[name] = memoryless_step(
                    channel.conversion, channel.wire_unit, channel.unit
                )

    def _convert_one(
        self, name: str, step: Step, rows: WireColumns, result: dict[ChannelId, Columns]
    ) -> None:
        channel = self._channels[name]
        marks = step(rows)
        check_limits(channel.quantity.facts, marks)
        result[channel.id] = Columns(
            rows.time,
            marks.value,
            rows.wire,
            marks.quality,
            marks.reason,
            self._plant_column(len(rows)),
        )

    def _plant_column(self, n: int) -> UInt32:
        """Share one column among channels with equally many readings; nobody may write to it."""
        if len(self._plants) <= n:
            self._plants = np.full(2 * n + 64, self._plant, np.uint32)
            self._plants.flags.writeable = False
        return self._plants[:n]

    def _begin_junction(
        self,
        name: str,
        columns: Mapping[str, WireColumns],
        result: Mapping[ChannelId, Columns],
    ) -> None:
        junction, factor, offset = self._junctions[name]
        rows = columns.get(name)
        if rows is None:
            junction.begin(_NO_TIME, _NO_VALUE, _NO_TIME)
            return
        converted = result[self._channels[name].id]
        time, value, pack = rows.time, converted.value * factor + offset, rows.pack
        if converted.quality.any():
            good = converted.quality < Quality.BAD
            time, value, pack = time[good], value[good], pack[good]
        junction.begin(time, value, pack)

    def _counter_step(self, name: str, channel: Channel, spec: PulseCounter) -> Step:
        """Turn counts into flow; a reading with a bad time counts for nothing."""
        check_counter(spec)
        factor, offset = to_unit(channel.wire_unit, "count")
        to_factor, to_offset = to_unit("L/min", channel.unit)
        highest_l_min = (channel.quantity.facts.high - to_offset) / to_factor
        max_gap_us = max(MINUTE, int(2 * channel.silence_s * SECOND))
        carried = Carried()
        self._counters[name] = (carried, factor, offset)

        def step(rows: WireColumns) -> Marks:
            sound = _sound(rows)
            time, wire = (
                (rows.time, rows.wire) if sound is None else (rows.time[sound], rows.wire[sound])
            )
            flow, unknown = pulse_flow(
                spec, carried, time, wire * factor + offset, highest_l_min, max_gap_us=max_gap_us
            )
            value = flow * to_factor + to_offset
            if sound is not None:
                value, unknown = _spread(value, unknown, sound)
            marks = Marks(value, rows.quality, rows.reason)
            if unknown is not None:
                marks.lose(unknown, Reason.COUNTER_RESTART)
            return marks

        return step

    def _cold_junction(self, wanted: str | float) -> ColdJunctionOf:
        if not isinstance(wanted, str):
            return _fixed_junction(float(wanted))
        channel = self._channels.get(wanted)
        if channel is None:
            raise ValueError(
                f"cold_junction {wanted!r} is no channel of this station: name one, or give °C"
            )
        if isinstance(channel.conversion, Thermocouple):
            raise ConversionError(
                f"cold_junction {wanted!r} is itself a thermocouple: name the terminal's sensor"
            )
        try:
            scale = to_unit(channel.unit, "Cel")
        except UnitError as error:
            raise ConversionError(f"cold_junction {wanted!r}: {error}") from None
        junction = self._junctions.setdefault(wanted, (ColdJunction(), *scale))[0]
        return lambda rows: junction.at(rows.time, rows.pack)


def _fixed_junction(cold_c: float) -> ColdJunctionOf:
    low_c, high_c = JUNCTION_RANGE_C
    if not low_c <= cold_c <= high_c:
        raise ConversionError(
            f"cold_junction {cold_c:g} °C is impossible: give {low_c:g} to {high_c:g} °C"
        )
    return lambda rows: np.full(len(rows), cold_c)


def _sound(rows: WireColumns) -> Mask | None:
    """Tell which rows are not bad; None: all."""
    if not rows.quality.any():
        return None
    return np.asarray(rows.quality < Quality.BAD)


def _spread(value: Float64, unknown: Mask | None, sound: Mask) -> tuple[Float64, Mask]:
    """Put the results of the sound rows back in their places; the others are unknown."""
    all_values, all_unknown = np.zeros(len(sound)), np.ones(len(sound), np.bool_)
    all_values[sound] = value
    all_unknown[sound] = False if unknown is None else unknown
    return all_values, all_unknown


def _is_count(reading: Reading) -> bool:
    return reading.quality is not Quality.BAD or reading.reason is Reason.COUNTER_RESTART


_NO_TIME: Int64 = np.empty(0, np.int64)
_NO_VALUE: Float64 = np.empty(0, np.float64)

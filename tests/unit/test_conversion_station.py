import numpy as np
import pytest

from conversion_plant import (
    LOOP,
    NOZZLE,
    PLAIN,
    PULSES,
    SECOND,
    START,
    STATION,
    TERMINAL,
    channel,
    columns,
    convert_cut,
    readings,
    station,
    wire_columns,
)
from steadybead_domain.conversion.specs import (
    CurrentLoop,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.conversion.station import ConversionError, StationConverter
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Quality, Reading, Reason

GOOD, UNCERTAIN, BAD = Quality.GOOD, Quality.UNCERTAIN, Quality.BAD
# NIST Monograph 175, type K: 340 °C against 25 °C
MV_340_OVER_25 = 13.874481 - 1.000242


def nozzle(*pack: tuple[str, int, float]) -> Reading:
    return convert_cut([pack], [])["gun-a/nozzle"].row(0)


def test_thermocouple_takes_its_cold_junction_from_the_pack_in_any_order() -> None:
    hot, cold = ("gun-a/nozzle", 0, MV_340_OVER_25), ("gun-a/terminal", 0, 25.0)
    for pack in ((hot, cold), (cold, hot)):
        reading = nozzle(*pack)
        assert reading.value == pytest.approx(340.0, abs=1e-3)
        assert (reading.raw, reading.quality, reading.plant) == (MV_340_OVER_25, GOOD, 1)


def test_of_several_in_the_pack_the_nearest_in_time_counts() -> None:
    others = [("gun-a/terminal", t * SECOND, c) for t, c in ((-3, 90.0), (-1, 25.0), (2, 80.0))]
    assert nozzle(("gun-a/nozzle", 0, MV_340_OVER_25), *others).value == pytest.approx(
        340.0, abs=1e-3
    )


@pytest.mark.parametrize(
    ("age_s", "found"), [(0, True), (60, True), (60.000001, False), (-1, False)]
)
def test_else_the_latest_one_not_older_than_a_minute(age_s: float, found: bool) -> None:
    packs = [
        [("gun-a/terminal", 0, 25.0)],
        [("gun-a/nozzle", round(age_s * SECOND), MV_340_OVER_25)],
    ]
    reading = convert_cut(packs, [1])["gun-a/nozzle"].row(0)
    if found:
        assert reading.value == pytest.approx(340.0, abs=1e-3)
        assert reading.quality is GOOD
    else:
        assert reading.value is None
        assert (reading.quality, reading.reason) == (BAD, Reason.COLD_JUNCTION_MISSING)


def test_a_bad_cold_junction_counts_as_missing() -> None:
    assert (
        nozzle(("gun-a/nozzle", 0, 12.0), ("gun-a/terminal", 0, 300.0)).reason
        is Reason.COLD_JUNCTION_MISSING
    )


def test_a_fixed_cold_junction_needs_no_channel() -> None:
    fixed = channel("gun-a/n", Quantity.NOZZLE_TEMPERATURE, "uV", Thermocouple("K", 25.0))
    converted = StationConverter(station(fixed), 1).convert(
        {"gun-a/n": wire_columns([(START, 1000 * MV_340_OVER_25, 0)])}
    )
    assert converted[fixed.id].value[0] == pytest.approx(340.0, abs=1e-3)


@pytest.mark.parametrize(
    ("mv", "value", "reason"),
    [
        (80.0, None, Reason.OPEN_CIRCUIT),
        (-80.0, None, Reason.OPEN_CIRCUIT),
        (40.0, pytest.approx(992.9, abs=0.5), Reason.OUT_OF_PHYSICAL_RANGE),
        (-MV_340_OVER_25, pytest.approx(-200.0, abs=0.1), Reason.OUT_OF_PHYSICAL_RANGE),
    ],
)
def test_impossible_emf_is_bad(mv: float, value: float | None, reason: Reason) -> None:
    reading = nozzle(("gun-a/nozzle", 0, mv), ("gun-a/terminal", 0, 25.0))
    assert (reading.value, reading.quality, reading.reason) == (value, BAD, reason)


@pytest.mark.parametrize(
    ("current_ma", "value", "quality"),
    [
        (4.0, 0.0, GOOD),
        (12.0, 50.0, GOOD),
        (20.0, 100.0, GOOD),
        (3.8, -1.25, GOOD),
        (3.7, -1.875, UNCERTAIN),
        (3.6, None, BAD),
        (0.0, None, BAD),
        (20.5, 103.125, GOOD),
        (20.6, 103.75, UNCERTAIN),
        (21.0, None, BAD),
        (24.0, None, BAD),
    ],
)
def test_current_loop_bands(current_ma: float, value: float | None, quality: Quality) -> None:
    """Bands of NAMUR NE 43, from memory, verify against the recommendation."""
    reading = readings("gun-a/loop", [current_ma])[0]
    assert reading.value == (None if value is None else pytest.approx(value))
    assert reading.quality is quality
    assert reading.reason is (Reason.NONE if quality is GOOD else Reason.LOOP_FAULT)


def test_voltage_loop_has_the_same_shares_and_converts_the_unit() -> None:
    low, middle, high, fault = readings("gun-a/volts", [0.0, 5.0, 10.0, 11.0])
    assert (low.value, middle.value, high.value) == pytest.approx((0.0, 50.0, 100.0))
    assert (fault.value, fault.reason) == (None, Reason.LOOP_FAULT)


def test_square_root_element_and_its_sign() -> None:
    values = [r.value for r in readings("gun-a/root", [400.0, 100.0, 0.0, -1.0])]
    assert values == pytest.approx([100.0, 50.0, 0.0, -5.0])


def test_linear_and_plain_units() -> None:
    assert readings("gun-a/line", [2.0])[0].value == pytest.approx(1100.0)
    assert readings("gun-a/set", [572.0])[0].value == pytest.approx(300.0)


def test_pulses_become_flow_over_roll_over_and_restart() -> None:
    counts = [900.0, 904.0, 908.0, 2.0, 6.0, 900.0, 3.0]
    seen = readings("gun-a/pulses", counts, step_s=0.5)
    flows = [r.value for r in seen]
    assert flows[0] is None
    assert flows[1:3] == pytest.approx([48.0, 48.0])
    assert flows[3] is None  # 94 pulses in half a second would be 1128 L/min: a restart
    assert flows[4] == pytest.approx(48.0)
    assert seen[5].reason is Reason.OUT_OF_PHYSICAL_RANGE
    assert seen[0].reason is seen[3].reason is Reason.COUNTER_RESTART
    rolled = readings("gun-a/pulses", [998.0, 2.0], step_s=0.5)[1]
    assert rolled.value == pytest.approx(48.0)
    assert rolled.quality is GOOD


def test_a_count_after_a_gap_tells_no_flow() -> None:
    assert readings("gun-a/pulses", [10.0, 20.0], step_s=60.0)[1].value == pytest.approx(1.0)
    assert readings("gun-a/pulses", [10.0, 20.0], step_s=60.1)[1].value is None


def test_a_count_with_a_bad_time_counts_for_nothing() -> None:
    converter = StationConverter(STATION, 1)
    parts = [(0, 5.0, BAD), (0, 10.0, GOOD), (2, 700.0, BAD), (1, 18.0, GOOD)]
    seen = [
        converter.convert(
            {"gun-a/pulses": wire_columns([(START + t * SECOND, c, 0)], q, Reason.NONE)}
        )[PULSES.id].row(0)
        for t, c, q in parts
    ]
    assert [r.value for r in seen] == [None, None, None, pytest.approx(48.0)]


def test_good_and_bad_counts_in_one_batch() -> None:
    rows = wire_columns([(START + i * SECOND, 8.0 * i, i) for i in range(4)])
    rows.quality[1] = BAD
    found = StationConverter(STATION, 1).convert({"gun-a/pulses": rows})[PULSES.id]
    assert [found.row(i).value for i in range(4)] == [None, None, *[pytest.approx(48.0)] * 2]


def test_incoming_quality_is_never_improved_and_the_worse_one_stays() -> None:
    converter = StationConverter(STATION, 7)
    late = wire_columns([(START, 12.0, 0), (START + 1, 30.0, 0)], UNCERTAIN, Reason.TIME_OF_RECEIPT)
    one, two = (converter.convert({"gun-a/loop": late})[LOOP.id].row(i) for i in (0, 1))
    assert (one.quality, one.reason) == (UNCERTAIN, Reason.TIME_OF_RECEIPT)
    assert (two.quality, two.reason) == (BAD, Reason.LOOP_FAULT)
    bad = wire_columns([(START, 9999.0, 0)], BAD, Reason.CLOCK)
    kept = converter.convert({"gun-a/set": bad})[PLAIN.id].row(0)
    assert (kept.quality, kept.reason, kept.plant) == (BAD, Reason.CLOCK, 7)
    assert late.quality.tolist() == [UNCERTAIN, UNCERTAIN]


def test_values_stay_finite_and_raw_stays_as_it_came() -> None:
    for name in ("gun-a/set", "gun-a/line", "gun-a/volts", "gun-a/root", "gun-a/pulses"):
        for wire in (1.7e308, -1.7e308):
            converted = convert_cut([[(name, 0, wire)], [(name, 9, wire / 2)]], [])[name]
            assert np.isfinite(converted.value).all()
            assert converted.raw.tolist() == [wire, wire / 2]
            assert (converted.quality == BAD).all()


def test_priming_carries_over_a_restart() -> None:
    packs = [
        [("gun-a/terminal", 0, 25.0), ("gun-a/pulses", 0, 100.0)],
        [("gun-a/nozzle", 30 * SECOND, MV_340_OVER_25), ("gun-a/pulses", SECOND, 108.0)],
    ]
    first = StationConverter(STATION, 1).convert(columns(packs[:1]))
    second = StationConverter(STATION, 1)
    second.prime({channel_id: some.row(0) for channel_id, some in first.items()})
    after = second.convert(columns(packs[1:]))
    assert after[NOZZLE.id].value[0] == pytest.approx(340.0, abs=1e-3)
    assert after[PULSES.id].value[0] == pytest.approx(48.0)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (channel("gun-a/x", Quantity.AIR_FLOW, "Cel"), "channel gun-a/x: unit 'Cel' does not fit"),
        (
            channel("gun-a/x", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", "gun-a/y")),
            "cold_junction 'gun-a/y' is no channel of this station",
        ),
        (
            channel(
                "gun-a/x", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", "gun-a/nozzle")
            ),
            "is itself a thermocouple",
        ),
        (
            channel("gun-a/x", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", "gun-a/loop")),
            "cold_junction 'gun-a/loop': unit 'L/min' does not fit",
        ),
        (
            channel("gun-a/x", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("Q", 20.0)),
            "thermocouple type 'Q': write one of",
        ),
        (
            channel("gun-a/x", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", 273.15)),
            "cold_junction 273.15 °C is impossible: give -50 to 150 °C",
        ),
        (
            channel("gun-a/x", Quantity.AIR_FLOW, "mV", CurrentLoop(0.0, 1.0, "L/min")),
            "unit 'mV' does not fit here: write mA",
        ),
        (
            channel("gun-a/x", Quantity.AIR_FLOW, "V", VoltageLoop(0.0, 1.0, "L/min", 10.0, 0.0)),
            "low_v 10 is not below high_v 0",
        ),
        (
            channel("gun-a/x", Quantity.AIR_FLOW, "Pa", SquareRoot(1.0, 0.0, "L/min")),
            "full_drop_pa must be above 0",
        ),
        (
            channel("gun-a/x", Quantity.AIR_FLOW, "count", PulseCounter(0.0)),
            "litres_per_pulse must be above 0",
        ),
        (
            channel("gun-a/x", Quantity.AIR_FLOW, "count", PulseCounter(0.1, 1)),
            "rolls_over_at must be 2 or more",
        ),
    ],
)
def test_wiring_that_makes_no_sense_is_refused_with_a_remedy(wrong: Channel, message: str) -> None:
    with pytest.raises(ConversionError, match=message):
        StationConverter(station(NOZZLE, TERMINAL, LOOP, wrong), 1)


def test_only_the_last_512_cold_junctions_are_remembered() -> None:
    """So that memory stays bounded; they arrive out of order here, the wanted one first."""
    for later, found in ((511, True), (512, False)):
        packs = [[("gun-a/terminal", 0, 25.0)]]
        packs += [[("gun-a/terminal", SECOND + i, 80.0)] for i in range(later)]
        packs += [[("gun-a/nozzle", SECOND // 2, MV_340_OVER_25)]]
        for cuts in ([], [300], [len(packs) - 1]):
            reading = convert_cut(packs, cuts)["gun-a/nozzle"].row(0)
            assert (reading.value is not None) == found

"""The same packs give the same readings however they are cut, and as a plain loop would."""

import thermocouple_its90
from hypothesis import example, given, settings
from hypothesis import strategies as st

from conversion_plant import SECOND, Record, convert_cut

MINUTE = 60 * SECOND
KEPT = 512
TYPE_K = thermocouple_its90.TYPES["K"]
times = st.one_of(
    st.integers(0, 200).map(lambda t: t * SECOND),
    st.integers(0, 5),
    st.integers(-MINUTE, 3 * MINUTE),
)
records = st.one_of(
    st.tuples(st.just("gun-a/nozzle"), times, st.floats(-8.0, 60.0)),
    st.tuples(st.just("gun-a/terminal"), times, st.floats(-60.0, 140.0)),
    st.tuples(st.just("gun-a/pulses"), times, st.integers(0, 999).map(float)),
    st.tuples(st.just("gun-a/loop"), times, st.floats(2.0, 22.0)),
)
packs_of_records = st.lists(st.lists(records, min_size=1, max_size=5), min_size=1, max_size=14)


@settings(deadline=None, max_examples=300)
@given(packs_of_records, st.lists(st.integers(0, 14), max_size=4))
def test_cutting_packs_into_batches_changes_nothing(
    packs: list[list[Record]], cuts: list[int]
) -> None:
    whole = convert_cut(packs, [])
    cut = convert_cut(packs, [min(c, len(packs)) for c in cuts])
    single = convert_cut(packs, range(1, len(packs)))
    for name, one in whole.items():
        for other in (cut[name], single[name]):
            assert one.time.tolist() == other.time.tolist()
            assert one.value.tolist() == other.value.tolist()
            assert one.raw.tolist() == other.raw.tolist()
            assert one.quality.tolist() == other.quality.tolist()
            assert one.reason.tolist() == other.reason.tolist()


@settings(deadline=None, max_examples=300)
@given(packs_of_records)
@example([[("gun-a/terminal", 5, 20.0)], [("gun-a/nozzle", 4, 1.0), ("gun-a/terminal", 9, 30.0)]])
@example([[("gun-a/nozzle", 4, 1.0), ("gun-a/terminal", 3, 30.0), ("gun-a/terminal", 3, 40.0)]])
@example([[("gun-a/terminal", 5, 30.0), ("gun-a/terminal", 3, 40.0), ("gun-a/nozzle", 4, 1.0)]])
def test_cold_junctions_are_those_that_a_plain_loop_finds(packs: list[list[Record]]) -> None:
    found = convert_cut(packs, []).get("gun-a/nozzle")
    expected = list(plain_cold_junctions(packs))
    assert len(expected) == (0 if found is None else len(found))
    for i, (mv, cold_c) in enumerate(expected):
        assert found is not None
        reading = found.row(i)
        if cold_c is None:
            assert (reading.value, reading.reason.text) == (None, "cold junction missing")
            continue
        total_mv = mv + TYPE_K.emf(cold_c)
        if -1.0 < total_mv < 37.0:
            assert reading.value is not None
            assert abs(reading.value - TYPE_K.temperature(total_mv)) < 1e-4


def plain_cold_junctions(packs: list[list[Record]]) -> list[tuple[float, float | None]]:
    arrived: list[tuple[int, float]] = []
    answers: list[tuple[float, float | None]] = []
    for pack in packs:
        here = [(t, c) for name, t, c in pack if name == "gun-a/terminal" and -40 <= c <= 125]
        for name, time, mv in pack:
            if name != "gun-a/nozzle":
                continue
            near = sorted(here, key=lambda row: (abs(row[0] - time), row[0]))
            past = [row for row in arrived[-KEPT:] if time - MINUTE <= row[0] <= time]
            latest = [row for row in past if row[0] == max(t for t, _ in past)]
            answers.append((mv, near[0][1] if near else latest[0][1] if latest else None))
        arrived += here
    return answers


@settings(deadline=None, max_examples=300)
@given(packs_of_records)
def test_flows_are_those_that_a_plain_loop_finds(packs: list[list[Record]]) -> None:
    found = convert_cut(packs, []).get("gun-a/pulses")
    counts = [(t, c) for pack in packs for name, t, c in pack if name == "gun-a/pulses"]
    for i, (time, count) in enumerate(counts):
        assert found is not None
        past = [row for row in counts[:i] if time - MINUTE <= row[0] < time]
        if not past:
            assert found.row(i).value is None
            continue
        before = max(past, key=lambda row: row[0])
        flow = plain_flow(count - before[1], time - before[0])
        if flow is None:
            assert found.row(i).reason.text == "counter restart"
        else:
            assert abs(found.value[i] - flow) <= 1e-9 * max(1.0, flow)


def plain_flow(rise: float, elapsed_us: int) -> float | None:
    minutes = elapsed_us / MINUTE
    if rise >= 0:
        return rise * 0.1 / minutes
    rolled = (rise + 1000) * 0.1 / minutes
    return rolled if rolled <= 1000.0 else None

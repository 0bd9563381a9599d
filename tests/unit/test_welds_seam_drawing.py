"""The seam on paper: to scale, with its ± inside the box, and never more than can be read."""

from hypothesis import given
from hypothesis import strategies as st

from steadybead_dashboards.seam_drawing import LEFT, MOST_LANES, RIGHT, WIDTH, seam_drawing
from steadybead_domain.ids import ChannelId
from steadybead_domain.quantities import Quantity
from steadybead_domain.verdict.model import Excursion, SeamBasis, SeamMap, SeamStretch, Side

EXCURSION = Excursion(
    Quantity.AIR_FLOW,
    ChannelId("north", "bay-1", "gun-a/flow"),
    Side.BELOW,
    0,
    1,
    39.0,
    45.0,
    20.0,
    "L/min",
    beyond_doubt=True,
)


def drawn(length_mm: float, beads: int, *places: tuple[int, float, float, float]) -> SeamMap:
    stretches = tuple(SeamStretch(0, bead, a, b, give, give) for bead, a, b, give in places)
    return SeamMap(length_mm, 300.0, SeamBasis.LENGTH, beads, stretches, ())


def test_places_are_to_scale() -> None:
    picture = seam_drawing(drawn(480.0, 1, (1, 120.0, 240.0, 20.0)), [EXCURSION])
    [block] = picture.blocks
    span = WIDTH - LEFT - RIGHT
    assert block.x == round(LEFT + span / 4, 1)
    assert block.width == round(span / 4, 1)
    assert block.low_x == round(LEFT + span * 100 / 480, 1)
    assert block.high_x == round(LEFT + span * 260 / 480, 1)
    assert (block.number, block.heat, block.beyond_doubt) == (1, False, True)
    assert picture.ticks[0].text == "0"
    assert picture.ticks[-1].text == "480"


@given(
    st.floats(1.0, 1e6),
    st.integers(1, 200),
    st.lists(st.tuples(st.integers(1, 200), st.floats(0, 1), st.floats(0, 1)), max_size=20),
)
def test_nothing_leaves_the_box(
    length_mm: float, beads: int, raw: list[tuple[int, float, float]]
) -> None:
    places = [
        (min(bead, beads), a * length_mm, max(a, b) * length_mm, length_mm / 3)
        for bead, a, b in raw
    ]
    picture = seam_drawing(drawn(length_mm, beads, *places), [EXCURSION])
    assert 1 <= len(picture.lanes) <= MOST_LANES
    for block in picture.blocks:
        assert LEFT <= block.low_x <= block.x + block.width
        assert block.x + block.width <= WIDTH - RIGHT + 0.11
        assert block.high_x <= WIDTH - RIGHT
    assert len(picture.blocks) + picture.left_out == len(places)
    assert 1 <= len(picture.ticks) <= 12
    marks = [tick.x for tick in picture.ticks]
    assert marks == sorted(marks)

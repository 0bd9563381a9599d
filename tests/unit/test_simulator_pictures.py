"""The pictures are drawn from the simulation, and are well-formed SVG."""

from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from steadybead_simulator import pictures, svg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", ["filters", "ordering", "warm_up"])
def test_a_picture_is_svg_with_curves(name: str) -> None:
    root = ET.fromstring(pictures.PICTURES[name]())  # noqa: S314  # our own text
    assert root.tag == f"{SVG}svg"
    assert root.find(f"{SVG}title") is not None
    assert len(root.findall(f"{SVG}path")) > 3


def test_the_readme_shows_every_picture() -> None:
    folder = Path(__file__).parents[2] / "simulator"
    readme = (folder / "README.md").read_text("utf-8")
    for name in pictures.PICTURES:
        assert f"pictures/{name}.svg" in readme
        assert (folder / "pictures" / f"{name}.svg").is_file()


def test_ticks_are_round_and_inside() -> None:
    assert svg.ticks(0.0, 100.0) == [0.0, 50.0, 100.0]
    for low, high in ((0.3, 0.9), (-5.0, 4000.0), (299.0, 341.0)):
        found = svg.ticks(low, high)
        assert all(low <= t <= high for t in found)
        assert 2 <= len(found) <= 6


def test_thinning_keeps_spikes() -> None:
    y = np.zeros(100_000)
    y[54_321] = 9.0
    _, kept = svg._thinned(svg.Line(np.arange(100_000.0), y), 700.0)
    assert kept.max() == 9.0
    assert len(kept) < 5_000

"""Every bench works; no test fails on a time."""

import importlib
import math

import pytest

from bench.run import NAMES


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", NAMES)
def test_a_bench_runs_in_its_short_form(name: str) -> None:
    figures = importlib.import_module(f"bench.bench_{name}").main(True)
    assert figures
    assert all(math.isfinite(figure["value"]) for figure in figures)

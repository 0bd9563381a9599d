"""The collector's README is held to the code."""

import re
from pathlib import Path

from steadybead_collector.outcomes import Outcome

README = (Path(__file__).parents[2] / "collector" / "README.md").read_text(encoding="utf-8")


def test_every_outcome_has_its_row_and_no_row_is_invented() -> None:
    table = README[README.index("| outcome |") : README.index("A flood stays small")]
    rows = [line.split("|")[1] for line in table.splitlines()[2:] if line.startswith("|")]
    words = {word for row in rows for word in re.findall(r"`([a-z_]+)`", row)}
    assert words == {outcome.value for outcome in Outcome}


def test_what_is_refused_has_a_remedy() -> None:
    for outcome in Outcome:
        assert bool(outcome.remedy) == outcome.refused

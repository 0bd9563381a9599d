"""A plant file's text from a browser: its mistakes, or what it describes. Nothing is kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from steadybead_collector.config import PlantFile, PlantFileError, Problem, read_plant_text
from steadybead_collector.config.reader import MOST_PROBLEMS
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant


@dataclass(frozen=True, slots=True)
class PlantCheck:
    """What was found; `plant_file` is None where there are problems.

    `added`, `removed` and `changed` compare its channels with the plant file in force.
    """

    problems: Sequence[Problem]
    more: bool
    plant_file: PlantFile | None
    added: Sequence[ChannelId] = ()
    removed: Sequence[ChannelId] = ()
    changed: Sequence[ChannelId] = ()


def check_text(text: str, in_force: Plant) -> PlantCheck:
    """Check a text by the rules of every start; files that it names are not looked up."""
    try:
        found = read_plant_text(text, "plant file", None)
    except PlantFileError as error:
        return PlantCheck(error.problems, len(error.problems) >= MOST_PROBLEMS, None)
    now = {c.id: c for c in in_force.channels()}
    then = {c.id: c for c in found.plant.channels()}
    return PlantCheck(
        (),
        False,
        found,
        [name for name in then if name not in now],
        [name for name in now if name not in then],
        [name for name in then if name in now and then[name] != now[name]],
    )

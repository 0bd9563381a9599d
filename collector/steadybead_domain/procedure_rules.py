"""What may be wrong with a procedure before a revision of it is kept."""

import math
from dataclasses import replace
from typing import Any, Final

from steadybead_domain.procedures import Procedure, Window

PROCESSES: Final = {
    "641": "hot gas speed welding",
    "642": "hot gas round-nozzle welding",
}
"""ISO process numbers of hot-gas hand welding with rod (from a public list of the numbers)."""
FOUND: Final = "found"
FROM_MEMORY: Final = "from memory"
BY_THE_SHOP: Final = "set by the shop"
FIELDS: Final = (
    "nozzle_temperature",
    "air_flow",
    "flow_reference",
    "travel_speed",
    "rod_force",
    "rod",
    "nozzle",
    "warm_up_s",
    "tacking",
    "preparation",
)
"""The fields whose origin a procedure states."""
_UNITS: Final = {
    "nozzle_temperature": ("Cel", 0.0, 1000.0),
    "air_flow": ("L/min", 0.0, 1000.0),
    "travel_speed": ("mm/min", 0.0, 10_000.0),
    "rod_force": ("N", 0.0, 1000.0),
}
_NEEDED: Final = ("title", "material", "source", "edition")
_MOST: Final = 400


def procedure_problems(item: Procedure) -> list[tuple[str, str]]:
    """Give what is wrong, as (field, remedy); empty: it may be kept."""
    found = [(name, "write it down") for name in _NEEDED if not str(getattr(item, name)).strip()]
    texts = (*_NEEDED, "rod", "tacking", "nozzle", "preparation", "note", "reason")
    found += [
        (name, f"is longer than {_MOST} characters: shorten it")
        for name in texts
        if len(getattr(item, name)) > _MOST
    ]
    if item.process not in PROCESSES:
        known = "; ".join(f"{number} {words}" for number, words in PROCESSES.items())
        found.append(("process", f"write one of: {known}"))
    for name in _UNITS:
        window = getattr(item, name)
        if window is not None:
            found += [(name, remedy) for remedy in _window_problems(name, window)]
    if not (math.isfinite(item.warm_up_s) and 0 <= item.warm_up_s <= 86_400):
        found.append(("warm_up_s", "write seconds from 0 to 86400"))
    if item.revision > 1 and not item.reason.strip():
        found.append(("reason", "say why this revision is made"))
    return found


def changed_fields(item: Procedure, before: Procedure) -> tuple[str, ...]:
    """Name the fields in which a revision differs from the one before it."""
    same = replace(before, revision=item.revision, reason=item.reason, provenance=item.provenance)
    names = Procedure.__dataclass_fields__
    return tuple(n for n in names if getattr(item, n) != getattr(same, n))


def with_origins(item: Procedure, before: Procedure | None) -> Procedure:
    """Mark what this revision changed as set by the shop; what it left alone keeps its origin."""
    kept: dict[str, Any] = dict(item.provenance if before is None else before.provenance)
    changed = FIELDS if before is None else changed_fields(item, before)
    for name in changed:
        if name in FIELDS and (before is not None or name not in kept):
            kept[name] = BY_THE_SHOP
    return replace(item, provenance=kept)


def _window_problems(name: str, window: Window) -> list[str]:
    unit, least, most = _UNITS[name]
    if window.unit != unit:
        return [f"write it in {unit}"]
    ends = [end for end in (window.low, window.high) if end is not None]
    if not ends:
        return ["give at least one end of the window"]
    if any(not math.isfinite(end) or not least <= end <= most for end in ends):
        return [f"write numbers from {least:g} to {most:g} {unit}"]
    if len(ends) == 2 and ends[0] > ends[1]:
        return ["the lower end lies above the upper one"]
    return []

"""What a weld log carries beside times and names, and what may be written there.

The fields follow what a hot-gas weld log usually carries (from memory, after the record sheet of
DVS 2207; verify against the standard). Nothing here is measured: people enter it.
"""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final

MOST_TEXT: Final = 200
MOST_REMARKS: Final = 1000
CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "seam_kind": ("", "V", "double V", "fillet", "lap", "other"),
    "weather": ("", "indoors", "sun", "dry", "rain or snow", "wind"),
    "protection": ("", "none", "screen", "tent", "heating"),
    "visual": ("", "accepted", "rejected"),
    "trial": ("", "passed", "failed", "not made"),
    "rod_check": ("", "compatible", "not compatible", "not checked"),
}
"""The words a field may have; empty: nobody said."""
_RANGES: Final[Mapping[str, tuple[float, float, str]]] = {
    "seam_length_mm": (1.0, 1e6, "mm"),
    "thickness_mm": (0.1, 200.0, "mm"),
    "ambient_temperature_c": (-50.0, 80.0, "°C"),
    "ambient_humidity": (0.0, 100.0, "% RH"),
    "beads": (1.0, 1000.0, "beads"),
}


@dataclass(frozen=True, slots=True)
class WeldDetails:
    """What people enter of a weld; empty or None: nobody said.

    `qualification` is the welder's certificate and sub-group, `qualification_expires` its last
    day (`YYYY-MM-DD`); `rod_check` is the check that rod and sheet are of compatible material.
    """

    drawing: str = ""
    seam_kind: str = ""
    seam_length_mm: float | None = None
    qualification: str = ""
    qualification_expires: str = ""
    sheet: str = ""
    sheet_batch: str = ""
    thickness_mm: float | None = None
    rod: str = ""
    rod_batch: str = ""
    rod_check: str = ""
    ambient_temperature_c: float | None = None
    ambient_humidity: float | None = None
    weather: str = ""
    protection: str = ""
    trial: str = ""
    beads: int | None = None
    visual: str = ""
    remarks: str = ""

    def to_json(self) -> dict[str, Any]:
        """Write what was said, and nothing else."""
        return {k: v for k, v in asdict(self).items() if v not in ("", None)}


DETAIL_NAMES: Final = tuple(f.name for f in fields(WeldDetails))


def details_from_json(data: Mapping[str, Any] | None) -> WeldDetails:
    """Read what `to_json` wrote; members that are not known are left out."""
    known = {k: v for k, v in (data or {}).items() if k in DETAIL_NAMES}
    return WeldDetails(**known)


def detail_problems(changes: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Give what is wrong with entries of details, as (field, remedy)."""
    found = []
    for name, value in changes.items():
        if name not in DETAIL_NAMES or value in ("", None):
            continue
        remedy = _remedy(name, value)
        if remedy:
            found.append((name, remedy))
    return found


def expired(details: WeldDetails, day: str) -> bool:
    """Tell whether the welder's qualification had run out on a day (`YYYY-MM-DD`)."""
    return bool(details.qualification_expires) and details.qualification_expires < day


def _remedy(name: str, value: Any) -> str:
    if name in CHOICES:
        words = ", ".join(word for word in CHOICES[name] if word)
        return "" if value in CHOICES[name] else f"write one of: {words}"
    if name in _RANGES:
        return _number_remedy(name, value)
    if not isinstance(value, str):
        return "write a text"
    most = MOST_REMARKS if name == "remarks" else MOST_TEXT
    if len(value) > most:
        return f"is longer than {most} characters: shorten it"
    return _day_remedy(value) if name == "qualification_expires" else ""


def _number_remedy(name: str, value: Any) -> str:
    low, high, unit = _RANGES[name]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not math.isfinite(value) or not low <= value <= high:
        return f"write a number from {low:g} to {high:g} {unit}"
    if name == "beads" and value != int(value):
        return "write a whole number"
    return ""


def _day_remedy(value: str) -> str:
    try:
        return "" if dt.date.fromisoformat(value).isoformat() == value else "write it as 2027-03-31"
    except ValueError:
        return "write it as 2027-03-31"

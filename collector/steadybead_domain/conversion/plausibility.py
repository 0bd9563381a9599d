"""Hints at wiring mistakes: what a thermocouple's reading would be if it were wired otherwise."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from steadybead_domain.conversion.thermocouple import (
    TYPES,
    emf_mv,
    hot_junction_c,
    temperature_c,
)

# project assumptions: how far off a reading must be before a cause is looked for, and how much
# nearer another wiring must bring it
FAR_OFF_C: Final = 25.0
MUCH_NEARER: Final = 0.2


class WiringMistake(StrEnum):
    """A mistake at the terminals or in the plant file."""

    REVERSED_LEADS = "reversed leads"
    WRONG_TYPE = "wrong type"
    COLD_JUNCTION_COUNTED_TWICE = "cold junction counted twice"


@dataclass(frozen=True, slots=True)
class WiringHint:
    """A likely mistake: what is shown now, and what it would be, both in °C."""

    mistake: WiringMistake
    shown_c: float | None
    would_be_c: float
    text: str


def thermocouple_hint(
    letter: str, wire_mv: float, cold_c: float, expected_c: float | None = None
) -> WiringHint | None:
    """Look for a wiring mistake in one steady reading.

    `wire_mv` is the measured emf, `cold_c` the cold junction, `expected_c` what the gun should
    have (its set value in steady state, or a needle probe), None: not known. Without it only
    reversed leads can be told.
    """
    shown_c = _hot_c(letter, wire_mv, cold_c)
    mirrored = _reversed(letter, wire_mv, cold_c, shown_c)
    if mirrored is not None:
        return mirrored
    if expected_c is None or shown_c is None or abs(shown_c - expected_c) <= FAR_OFF_C:
        return None
    found = [
        hint
        for hint in (_twice(letter, wire_mv, shown_c), *_other_types(letter, wire_mv, cold_c))
        if abs(hint.would_be_c - expected_c) <= MUCH_NEARER * abs(shown_c - expected_c)
    ]
    return min(found, key=lambda hint: abs(hint.would_be_c - expected_c), default=None)


def shown_by_wrong_type(wire: str, read_as: str, true_c: float, cold_c: float = 0.0) -> float:
    """Give what an instrument set to `read_as` shows for a `wire` at `true_c`; NaN if nothing."""
    mv = emf_mv(wire, np.array([true_c])) - emf_mv(wire, np.array([cold_c]))
    return float(hot_junction_c(read_as, mv, np.array([cold_c]))[0][0])


def _reversed(
    letter: str, wire_mv: float, cold_c: float, shown_c: float | None
) -> WiringHint | None:
    """Tell reversed leads: a gun is never far colder than its terminals and below freezing."""
    warm_c = min(cold_c - FAR_OFF_C, 0.0)
    if wire_mv >= 0.0 or (shown_c is not None and shown_c > warm_c):
        return None
    would_be_c = _hot_c(letter, -wire_mv, cold_c)
    if would_be_c is None:
        return None
    text = (
        f"the emf is {wire_mv:.2f} mV, below zero while the terminal has {cold_c:.0f} °C: "
        f"the leads are probably reversed (swapped, it reads {would_be_c:.0f} °C); swap + and -"
    )
    return WiringHint(WiringMistake.REVERSED_LEADS, shown_c, would_be_c, text)


def _other_types(letter: str, wire_mv: float, cold_c: float) -> list[WiringHint]:
    shown_c = _hot_c(letter, wire_mv, cold_c)
    hints = []
    for other in TYPES:
        would_be_c = _hot_c(other, wire_mv, cold_c)
        if other == letter or would_be_c is None:
            continue
        text = (
            f"read as type {letter} it shows {shown_c:.0f} °C, as type {other} it would be "
            f"{would_be_c:.0f} °C: the wire is probably type {other}; "
            f'check its colour and write type = "{other}"'
        )
        hints.append(WiringHint(WiringMistake.WRONG_TYPE, shown_c, would_be_c, text))
    return hints


def _twice(letter: str, wire_mv: float, shown_c: float) -> WiringHint:
    would_be_c = float(temperature_c(letter, np.array([wire_mv]))[0])
    text = (
        f"it shows {shown_c:.0f} °C; without the cold junction it would be {would_be_c:.0f} °C: "
        "the instrument probably adds its cold junction itself; write cold_junction = 0.0"
    )
    return WiringHint(WiringMistake.COLD_JUNCTION_COUNTED_TWICE, shown_c, would_be_c, text)


def _hot_c(letter: str, wire_mv: float, cold_c: float) -> float | None:
    """Give °C; None where the emf lies outside the type's range."""
    hot_c = float(hot_junction_c(letter, np.array([wire_mv]), np.array([cold_c]))[0][0])
    return None if np.isnan(hot_c) else hot_c

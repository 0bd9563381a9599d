"""What can be seen with the channels at hand, and what cannot."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from steadybead_domain.diagnosis.causes import Signature, smallest_size
from steadybead_domain.diagnosis.signatures import NEVER_TOLD, PROBE, REFERENCE_METER


@dataclass(frozen=True, slots=True)
class Scope:
    """One cause and the smallest lasting size that is found in time, or None.

    In time: within 5 shifts or checks in 9 of 10 cases, with the channels and spread at hand.
    `words` say it for people: seen from a size on, still learning, or not detectable.
    """

    cause: str
    smallest: float | None
    unit: str
    words: str


def scope_of(
    signatures: Iterable[Signature],
    ready: Mapping[str, float],
    learning: Sequence[str],
    unchecked: Mapping[str, str],
) -> tuple[Scope, ...]:
    """Work out the scope; `ready` gives the smallest shift that each learnt figure shows.

    `unchecked` names causes that reference checks would show, with the words for it.
    """
    found: dict[str, Scope] = {}
    for signature in signatures:
        if signature.least >= NEVER_TOLD or signature.cause in (PROBE, REFERENCE_METER):
            continue
        size = smallest_size(signature, ready)
        name = signature.cause.replace("_", " ")
        unit = "°C" if signature.unit == "Cel" else signature.unit
        if size is not None:
            words = f"{name}: seen from about {max(size, signature.least):.1f} {unit}"
        elif any(signature.moves.get(n) for n in learning):
            words = f"{name}: not detectable yet, still learning"
        else:
            words = f"{name}: not detectable with the channels at hand"
        if unchecked.get(signature.cause):
            words += f"; {unchecked[signature.cause]}"
        found[signature.cause] = Scope(
            signature.cause,
            None if size is None else max(size, signature.least),
            signature.unit,
            words,
        )
    return tuple(found.values())

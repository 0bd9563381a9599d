"""Whether the audit trail is what was written, held to the heads that the daily roots hold."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from steadybead_collector.evidence.roots import Root
from steadybead_collector.records.audit import AuditTrail
from steadybead_collector.records.chain import Head, Walked


@dataclass(frozen=True, slots=True)
class TrailCheck:
    """A trail that was walked. `faults` say what does not fit, `roots` how many roots knew it."""

    walked: Walked
    faults: tuple[str, ...]
    roots: int


def check_trail(
    trail: AuditTrail, roots: Sequence[Root], received: Iterable[Head] = ()
) -> TrailCheck:
    """Walk the whole trail; hold it to the roots and to heads that were kept elsewhere."""
    known = [(f"daily root {root.id}", head) for root in roots if (head := root.trail) is not None]
    given = [("the head given", head) for head in received]
    walked = trail.walk(head for _, head in (*known, *given))
    faults = [walked.fault] if walked.fault else []
    missing = [(name, head) for name, head in (*known, *given) if head not in walked.heads]
    if missing and not walked.fault:
        name, head = min(missing, key=lambda pair: pair[1].entry)
        faults.append(
            f"{name} knew entry {head.entry} as it is no longer: entries up to it were changed or"
            " taken out, and the chain was made anew"
        )
    return TrailCheck(walked, tuple(faults), len(known))

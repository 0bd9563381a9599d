"""Weld records as answers; who may not see welders' names is not shown them anywhere."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from steadybead_api.access import SEEING_WELDERS
from steadybead_api.services import Services
from steadybead_domain.people import Actor
from steadybead_domain.times import format_rfc3339
from steadybead_domain.weld_amendments import AS_WELDER, Amendment, Signature
from steadybead_domain.weld_details import WeldDetails
from steadybead_domain.welds import Weld

OF_THE_WELDER = ("welder", "qualification", "qualification_expires")
_NOBODY = WeldDetails()

_OF_THE_ACT = ("weld", "number", "time", "acted", "author", "via", "reason")


def weld_items(
    services: Services, welds: Sequence[Weld], reader: Actor | None
) -> list[dict[str, Any]]:
    """Describe records with the words of their verdicts."""
    words = services.records.welds.verdict_words([w.id for w in welds])
    return [weld_item(w, reader, *words.get(w.id, ("", 0))) for w in welds]


def weld_item(
    weld: Weld, reader: Actor | None, verdict: str = "", excursions: int = 0
) -> dict[str, Any]:
    """Describe a record; its welder is shown to quality and to the welder."""
    item = {**asdict(weld), "station": str(weld.station)}
    item |= {**item.pop("details"), "verdict": verdict, "excursions": excursions}
    if not sees_welder(reader, weld):
        item |= {"welder": None, "qualification": "", "qualification_expires": ""}
    return item


def sees_welder(reader: Actor | None, weld: Weld) -> bool:
    """Tell whether the welder's name is shown to somebody."""
    if reader is None:
        return False
    return reader.role in SEEING_WELDERS or (bool(weld.welder) and reader.name == weld.welder)


def amendment_items(
    weld: Weld, amendments: Iterable[Amendment], reader: Actor | None
) -> list[dict[str, Any]]:
    """Describe the amendments of a record, field by field."""
    sees = sees_welder(reader, weld)
    found = []
    for item in amendments:
        names = [n for n in item.changes if sees or n not in OF_THE_WELDER]
        changes = [
            {"field": n, "before": _shown(n, item.before.get(n)), "after": _shown(n, v)}
            for n, v in item.changes.items()
            if n in names
        ]
        act = {n: getattr(item, n) for n in _OF_THE_ACT}
        found.append({**act, "changes": changes})
    return found


def signature_item(weld: Weld, item: Signature, reader: Actor | None) -> dict[str, Any]:
    """Describe a sign-off; the welder's name is kept from who may not see it."""
    hidden = item.as_role == AS_WELDER and not sees_welder(reader, weld)
    own = reader is not None and reader.name == item.name
    name = "" if hidden and not own else item.name
    return {**asdict(item), "name": name, "covers": item.covers(weld)}


def _shown(name: str, value: Any) -> Any:
    return format_rfc3339(value) if name in {"start", "stop"} and value is not None else value

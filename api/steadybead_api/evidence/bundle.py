"""Everything about a weld record that goes into its evidence file."""

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from steadybead_api.evidence.seal import FORM
from steadybead_api.evidence.table import write_groups
from steadybead_api.evidence.tree import Evidenced, gather
from steadybead_api.measuring import Measuring
from steadybead_api.procedure_routes import procedure_item
from steadybead_api.services import Services
from steadybead_api.trace import TraceFrame, frame
from steadybead_api.verdict import weld_verdict
from steadybead_api.weld_items import amendment_items, signature_item, weld_item
from steadybead_domain.alarms.codec import fact_to_json
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.calibration.codec import to_json
from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import canonical
from steadybead_domain.people import Actor
from steadybead_domain.times import HOUR, format_rfc3339
from steadybead_domain.verdict.codec import budgets_json, verdict_json
from steadybead_domain.verdict.conclude import LONGEST_US
from steadybead_domain.verdict.model import Verdict
from steadybead_domain.welds import Weld

MOST_ALARMS: Final = 1_000
MOST_READINGS: Final = 2_000_000
_TIMES: Final = frozenset({"start", "stop", "time", "approved_at"})


class TooLongError(PlainError):
    """A record too long for one file; the message is the remedy."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """One attached file."""

    name: str
    content: bytes
    media_type: str
    about: str


@dataclass(frozen=True, slots=True, eq=False)
class Bundle:
    """What the report is written from, and what is attached to it."""

    weld: dict[str, Any]
    record: Weld
    verdict: Verdict
    frame: TraceFrame
    measuring: Measuring
    alarms: tuple[AlarmFact, ...]
    amendments: list[dict[str, Any]]
    signatures: list[dict[str, Any]]
    evidenced: Evidenced
    attachments: tuple[Attachment, ...]
    exported: int
    exported_by: str
    filter_limit_pa: float | None = None


def bundle(services: Services, data_dir: Path, weld: Weld, reader: Actor | None) -> Bundle:
    """Collect it all as it stands now. Whose name `reader` may not see is left out.

    Raises TooLongError for a record that is longer than a verdict looks at.
    """
    stop = services.clock() if weld.stop is None else weld.stop
    if stop - weld.start > LONGEST_US:
        raise TooLongError(
            f"weld {weld.id} is longer than a day: export its readings, or amend its stop"
        )
    measuring = Measuring(services)
    covered = frame(services, weld)
    channels = [c.id for c in covered.channels]
    _check_size(services, covered)
    welds = services.records.welds
    station = services.plant().station(weld.station)
    found = Bundle(
        weld_item(weld, reader),
        weld,
        weld_verdict(services, weld, measuring),
        covered,
        measuring,
        _alarms(services, weld, covered),
        amendment_items(weld, welds.amendments(weld.id), reader),
        [signature_item(weld, s, reader) for s in welds.signatures(weld.id)],
        gather(services.readings, data_dir, channels, covered.start, covered.end),
        (),
        services.clock(),
        "a reader without a name" if reader is None else reader.name,
        None if station is None else station.air.intake_filter_limit_pa,
    )
    return replace(found, attachments=_attachments(services, found))


def _check_size(services: Services, covered: TraceFrame) -> None:
    """Raise TooLongError where one file would hold too much to be made or opened."""
    end = max(covered.end, covered.start + 1)
    counts = [services.readings.buckets(c.id, covered.start, end, 1).n for c in covered.channels]
    total = int(sum(n.sum() for n in counts))
    if total > MOST_READINGS:
        raise TooLongError(
            f"weld {covered.weld.id} has {total:,} readings, more than {MOST_READINGS:,} in one"
            " file: keep a record for each seam or stretch of it"
        )


def _attachments(services: Services, found: Bundle) -> tuple[Attachment, ...]:
    """Write what is attached, and last the list of it all."""
    acts = [*found.amendments, *found.signatures]
    alarms = [fact_to_json(a) for a in found.alarms]
    instruments = _instruments(found.frame, found.measuring)
    attached = [
        _json("verdict.json", "the verdict, average by average", verdict_json(found.verdict)),
        _json("uncertainty.json", "the budgets, term by term", budgets_json(found.verdict)),
        _json("record.json", "the weld record as amended", found.weld),
        _json("amendments.json", "amendments and sign-offs", acts),
        _json("procedure.json", "the procedure in its revision", _procedure(found.frame)),
        _json("instruments.json", "instruments, calibrations, checks", instruments),
        _json("alarms.json", "alarms of the station at that time", alarms),
        _json("plant.json", "the plant file's versions", _plants(services, found.evidenced)),
        Attachment(
            "readings.csv", write_groups(found.evidenced.groups), "text/csv", "raw readings"
        ),
    ]
    listed = canonical(_manifest(services, found, attached))
    about = "what is in this file"
    return (*attached, Attachment("manifest.json", listed, "application/json", about))


def _manifest(services: Services, found: Bundle, attached: Sequence[Attachment]) -> dict[str, Any]:
    weld, verdict, evidenced = found.record, found.verdict, found.evidenced
    plant = services.plant()
    return {
        "form": FORM,
        "software": f"steadybead {_version()}",
        "site": plant.site,
        "plant_version": plant.version,
        "plant_sha256": plant.sha256,
        "weld": weld.id,
        "station": str(weld.station),
        "gun": weld.gun,
        "start": format_rfc3339(weld.start),
        "stop": None if weld.stop is None else format_rfc3339(weld.stop),
        "exported": format_rfc3339(found.exported),
        "verdict": {"verdict": verdict.conclusion.value, "rule": verdict.rule.words},
        "claim": evidenced.claim,
        "faults": list(evidenced.faults),
        "attachments": [
            {
                "name": a.name,
                "about": a.about,
                "media_type": a.media_type,
                "bytes": len(a.content),
                "sha256": hashlib.sha256(a.content).hexdigest(),
            }
            for a in attached
        ],
        "tree": evidenced.account,
    }


def _json(name: str, about: str, value: Any) -> Attachment:
    return Attachment(name, canonical(_told(value)), "application/json", about)


def _told(value: Any, name: str = "") -> Any:
    """Write times in RFC 3339 and leave the rest."""
    if isinstance(value, dict):
        return {str(k): _told(v, str(k)) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_told(v) for v in value]
    if name in _TIMES and isinstance(value, int) and not isinstance(value, bool):
        return format_rfc3339(value)
    return str(value) if isinstance(value, str) else value


def _procedure(covered: TraceFrame) -> dict[str, Any] | None:
    return None if covered.procedure is None else procedure_item(covered.procedure)


def _instruments(covered: TraceFrame, measuring: Measuring) -> dict[str, Any]:
    """Give all that is on record of what is fitted to the channels of the trace."""
    names = {c.id for c in covered.channels}
    fitted = [f.fitting for f in measuring.fittings if f.fitting.channel in names]
    serials = {f.instrument for f in fitted}
    return {
        "instruments": [to_json(i) for n, i in measuring.instruments.items() if n in serials],
        "fittings": [to_json(f) for f in fitted],
        "calibrations": [to_json(c) for c in measuring.calibrations if c.instrument in serials],
        "reference_checks": [to_json(c) for n in sorted(names) for c in measuring.checks(n)],
    }


def _alarms(services: Services, weld: Weld, covered: TraceFrame) -> tuple[AlarmFact, ...]:
    """Give what was told of alarms from an hour before the record to its end, oldest first."""
    page = services.records.alarms.facts(MOST_ALARMS, (covered.end, 2**62), weld.station)
    own = [f for f in page.items if f.time >= weld.start - HOUR and f.gun in (None, weld.gun)]
    return tuple(reversed(own))


def _plants(services: Services, evidenced: Evidenced) -> list[dict[str, Any]]:
    used = {int(v) for g in evidenced.groups for v in set(g.rows.plant.tolist())}
    found = [v for v in services.records.plants.versions() if v.version in used]
    return [{**asdict(v), "valid_from": format_rfc3339(v.valid_from)} for v in found]


def _version() -> str:
    try:
        return version("steadybead")
    except PackageNotFoundError:
        return "0"

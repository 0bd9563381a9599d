"""`calibrations`: what was found and left at an instrument, and what an error puts in doubt."""

from typing import Annotated, Any

from fastapi import Query, Request, Response
from pydantic import Field

from steadybead_api import impact
from steadybead_api import instrument_acts as acts
from steadybead_api.access import CalibratingActor, Reader, services_of
from steadybead_api.fields import Limit, Name, Number, PairCursor, Time, Words, cursor_of, key_of
from steadybead_api.instrument_routes import REPEAT, Entered, RecordId, Revision
from steadybead_api.instrument_schemas import CalibrationItem, ImpactItem
from steadybead_api.measuring import Measuring
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.services import Services
from steadybead_domain.calibration.codec import to_json
from steadybead_domain.calibration.impact import Growth
from steadybead_domain.calibration.model import Calibration, CorrectionKind, Point

router = api_router("measuring")
MOST_POINTS = 200
GrowthQuery = Annotated[Growth, Query(description="how the error came about: linear, or full")]
FirstQuery = Annotated[
    int, Query(ge=0, le=10_000, description="verdicts from this place of the list on, 50 at most")
]


class PointEntry(Entered):
    """A point; `as_found` null: not looked at; `as_left` null: not adjusted."""

    reference: Number
    as_found: Number | None = None
    as_left: Number | None = None


class CalibrationEntry(Entered):
    """A calibration; send your own `id`, and a repeat after a lost answer changes nothing.

    Points by rising value. `effective`, `performed` if absent, is since when it was wrong: the
    as-found points correct from then to `performed`, the as-left ones from there on.
    """

    id: Name | None = None
    instrument: Name
    performed: Time
    effective: Time | None = None
    kind: CorrectionKind
    unit: Words
    points: Annotated[list[PointEntry], Field(min_length=1, max_length=MOST_POINTS)]
    expanded_uncertainty: Number
    coverage_factor: Number = 2.0
    reference_instrument: Words
    certificate: Words = ""
    due: Time | None = None
    valid_low: Number | None = None
    valid_high: Number | None = None
    note: Words = ""
    withdrawn: bool = False
    revision: Revision = 1


@router.get(
    "/calibrations",
    response_model=Listed[CalibrationItem],
    summary="Calibrations, the latest performed first",
)
def calibrations(
    request: Request,
    _reader: Reader,
    instrument: Annotated[Name | None, Query()] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """List the newest revision of each calibration."""
    records = services_of(request).records.instruments
    page = records.calibration_page(limit, key_of(cursor), instrument)
    return {"items": [to_json(c) for c in page.items], "next": cursor_of(page.next)}


@router.post(
    "/calibrations",
    response_model=CalibrationItem,
    status_code=201,
    summary="Enter a calibration, or a revision of one",
    responses={200: {"model": CalibrationItem, "description": REPEAT}},
)
def enter_calibration(
    request: Request, response: Response, actor: CalibratingActor, said: CalibrationEntry
) -> dict[str, Any]:
    """Keep a calibration; nothing is kept if anything is wrong with it."""
    services = services_of(request)
    act = acts.act_of(services, actor)
    members = {
        **dict(said),
        "id": acts.new_id("c", said.id, said.revision),
        "effective": said.performed if said.effective is None else said.effective,
        "points": tuple(Point(**dict(point)) for point in said.points),
    }
    item = Calibration(**members, author=actor.name, entered=act.now)
    kept, is_new = acts.keep_calibration(services, item, act)
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/calibrations/{kept.id}"
    return to_json(kept)


@router.get(
    "/calibrations/{calibration}",
    response_model=CalibrationItem,
    summary="The newest revision of a calibration",
)
def calibration(request: Request, _reader: Reader, calibration: RecordId) -> dict[str, Any]:
    """Give one calibration."""
    return to_json(_revisions(services_of(request), calibration)[-1])


@router.get(
    "/calibrations/{calibration}/revisions",
    response_model=Listed[CalibrationItem],
    summary="All revisions of a calibration, the newest first",
)
def revisions(request: Request, _reader: Reader, calibration: RecordId) -> dict[str, Any]:
    """List what was entered under one id; nothing of it is ever changed."""
    found = _revisions(services_of(request), calibration)
    return {"items": [to_json(c) for c in reversed(found)], "next": None}


@router.get(
    "/calibrations/{calibration}/impact",
    response_model=ImpactItem,
    summary="What an as-found error puts in doubt: spans and weld records",
)
def impact_of(
    request: Request,
    reader: Reader,
    calibration: RecordId,
    growth: GrowthQuery = Growth.LINEAR,
    first: FirstQuery = 0,
) -> dict[str, Any]:
    """List every weld record since the last good check that was able to reveal the error.

    Each with its verdict before the find, and with the error taken out of the readings.
    """
    services = services_of(request)
    found = _revisions(services, calibration)[-1]
    asked = impact.Asked(growth, first)
    return impact.impact(services, Measuring(services), found, reader, asked)


def _revisions(services: Services, calibration: str) -> list[Calibration]:
    found = services.records.instruments.calibration_revisions(calibration)
    if not found:
        raise Problem(404, "calibration", f"there is no calibration {calibration}")
    return found

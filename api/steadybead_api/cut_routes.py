"""`welds/{id}/cut-plans`: where to cut, the sheet to cut by, and what the tests say of the rest."""

from typing import Annotated, Any

from fastapi import Request, Response
from pydantic import Field

from steadybead_api import cut_acts, weld_acts
from steadybead_api import instrument_acts as acts
from steadybead_api.access import Reader, SpecifyingActor, services_of
from steadybead_api.cut_schemas import CutPlanItem, CutResultItem
from steadybead_api.fields import Name, Number, Time, Words
from steadybead_api.instrument_routes import REPEAT, Entered, Revision
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.weld_routes import WeldId
from steadybead_domain.verdict.cut_results import CutResult, Outcome
from steadybead_domain.verdict.cutplan import STRIP_MM

router = api_router("welds")
PlanId = Name
_PDF: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}}
}


class CutPlanEntry(Entered):
    """Why strips are cut, and how wide they are: as wide as the test standard asks for."""

    id: Name | None = None
    reason: Annotated[Words, Field(min_length=1)]
    width_mm: Annotated[float, Field(ge=5, le=500)] = STRIP_MM


class CutResultEntry(Entered):
    """What the laboratory says of one strip; a correction is the next revision of the same id."""

    id: Name | None = None
    strip: Words
    method: Words
    outcome: Outcome
    time: Time | None = None
    laboratory: Words = ""
    value: Number | None = None
    unit: Words = ""
    note: Words = ""
    revision: Revision = 1


@router.get(
    "/welds/{weld}/cut-plans", response_model=Listed[CutPlanItem], summary="Cut plans of a record"
)
def plans(request: Request, _reader: Reader, weld: WeldId) -> dict[str, Any]:
    """List the plans with their results, the oldest first."""
    services = services_of(request)
    weld_acts.the_weld(services, weld)
    return {"items": cut_acts.plan_items(services, weld), "next": None}


@router.post(
    "/welds/{weld}/cut-plans",
    response_model=CutPlanItem,
    status_code=201,
    summary="Plan the fewest strips that settle a dispute",
    responses={200: {"model": CutPlanItem, "description": REPEAT}},
)
def make_plan(
    request: Request, response: Response, actor: SpecifyingActor, weld: WeldId, said: CutPlanEntry
) -> dict[str, Any]:
    """Plan by the verdict as it stands now, and keep the plan."""
    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    act = acts.act_of(services, actor)
    name = acts.new_id("cut", said.id, 1)
    kept, is_new = cut_acts.make_plan(services, found, name, said.reason, said.width_mm, act)
    response.status_code = 201 if is_new else 200
    return cut_acts.plan_item(services, kept)


@router.get(
    "/welds/{weld}/cut-plans/{plan}/sheet",
    response_class=Response,
    responses=_PDF,
    summary="The sheet to cut by",
)
def sheet(request: Request, _reader: Reader, weld: WeldId, plan: PlanId) -> Response:
    """Give the plan as a page to print: marks in mm with their ±."""
    from steadybead_api.evidence.cut_sheet import cut_sheet  # noqa: PLC0415  slow to load

    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    kept = cut_acts.the_plan(services, weld, plan)
    content = cut_sheet(found, kept, services.clock(), services.plant().timezone)
    headers = {"Content-Disposition": f'inline; filename="cut-{kept.id}.pdf"'}
    return Response(content, media_type="application/pdf", headers=headers)


@router.post(
    "/welds/{weld}/cut-results",
    response_model=CutResultItem,
    status_code=201,
    summary="Enter the test of a strip, or a revision of one",
    responses={200: {"model": CutResultItem, "description": REPEAT}},
)
def enter_result(
    request: Request, response: Response, actor: SpecifyingActor, weld: WeldId, said: CutResultEntry
) -> dict[str, Any]:
    """Keep what came of a strip of the newest plan; the rest of the seam is judged by it."""
    services = services_of(request)
    weld_acts.the_weld(services, weld)
    act = acts.act_of(services, actor)
    members = {
        **dict(said),
        "id": acts.new_id("cr", said.id, said.revision),
        "time": act.now if said.time is None else said.time,
    }
    if said.time is not None and said.time > act.now:
        raise Problem(422, "time", "time: a result cannot be of a later time than now")
    item = CutResult(weld=weld, author=actor.name, entered=act.now, **members)
    kept, is_new = cut_acts.keep_result(services, item, act)
    response.status_code = 201 if is_new else 200
    return kept.to_json()

"""`procedures`: the windows that welds are held to, with every revision."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import Path, Query, Request, Response
from pydantic import BaseModel, Field

from steadybead_api.access import Reader, SpecifyingActor, services_of
from steadybead_api.fields import Name, Number, Words
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.weld_schemas import ProcedureItem
from steadybead_collector.records.procedures import ProcedureRevision
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.procedures import Procedure, Window

UNITS = {
    "nozzle_temperature": "Cel",
    "air_flow": "L/min",
    "travel_speed": "mm/min",
    "rod_force": "N",
}
OPTIONAL = frozenset({"mm/min", "N"})


class WindowEntry(BaseModel):
    """A window; null leaves a side open."""

    low: Number | None = None
    high: Number | None = None


class ProcedureEntry(BaseModel):
    """One revision: 1 for a new procedure, else the number after the newest one.

    Temperatures in °C, flow in L/min at `flow_reference`, speed in mm/min, force in N.
    """

    id: Name
    revision: Annotated[int, Field(ge=1, le=2**31 - 1)]
    title: Words
    material: Words
    process: Words
    nozzle_temperature: WindowEntry
    air_flow: WindowEntry
    flow_reference: FlowReference
    travel_speed: WindowEntry | None = None
    rod_force: WindowEntry | None = None
    rod: Words = ""
    nozzle: Words = ""
    warm_up_s: Number = 600.0
    tacking: Words = ""
    preparation: Words = ""
    note: Words = ""
    source: Words
    edition: Words
    reason: Words = ""

    def procedure(self) -> Procedure:
        """Give it as the kernel knows it."""
        members: dict[str, Any] = self.model_dump(exclude=set(UNITS))
        for name, unit in UNITS.items():
            members[name] = _window(getattr(self, name), unit)
        return Procedure(**members)


class Approval(BaseModel):
    """Which revision is approved."""

    revision: Annotated[int, Field(ge=1, le=2**31 - 1)]


def _window(said: WindowEntry | None, unit: str) -> Window | None:
    empty = said is None or (said.low is None and said.high is None)
    return (
        None if said is None or (empty and unit in OPTIONAL) else Window(said.low, said.high, unit)
    )


router = api_router("procedures")
ProcedureId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Revision = Annotated[int, Query(ge=1, le=2**31 - 1)]


@router.get(
    "/procedures", response_model=Listed[ProcedureItem], summary="The newest revision of each"
)
def procedures(request: Request, _reader: Reader) -> dict[str, Any]:
    """List procedures by id."""
    newest = services_of(request).records.procedures.newest()
    return {"items": [procedure_item(r) for r in newest], "next": None}


@router.get(
    "/procedures/{procedure}", response_model=ProcedureItem, summary="One revision of a procedure"
)
def procedure(
    request: Request, _reader: Reader, procedure: ProcedureId, revision: Revision | None = None
) -> dict[str, Any]:
    """Give a revision, the newest if none is named."""
    found = services_of(request).records.procedures.get(procedure, revision)
    if found is None:
        wanted = procedure if revision is None else f"{procedure} revision {revision}"
        raise Problem(404, "procedure", f"there is no procedure {wanted}")
    return procedure_item(found)


@router.get(
    "/procedures/{procedure}/revisions",
    response_model=Listed[ProcedureItem],
    summary="All revisions of a procedure, the newest first",
)
def revisions(request: Request, _reader: Reader, procedure: ProcedureId) -> dict[str, Any]:
    """List the revisions of one procedure."""
    found = services_of(request).records.procedures.revisions(procedure)
    if not found:
        raise Problem(404, "procedure", f"there is no procedure {procedure}")
    return {"items": [procedure_item(r) for r in found], "next": None}


@router.post(
    "/procedures",
    response_model=ProcedureItem,
    status_code=201,
    summary="Write a procedure, or a further revision of one",
    responses={200: {"model": ProcedureItem, "description": "this revision stands there already"}},
)
def keep(
    request: Request, response: Response, actor: SpecifyingActor, said: ProcedureEntry
) -> dict[str, Any]:
    """Keep a revision. It is never overwritten: to change it, send the next one with a reason."""
    services = services_of(request)
    records, now = services.records.procedures, services.clock()
    try:
        found, is_new = records.keep(said.procedure(), actor, now, "http")
    except NotKeptError as error:
        errors = [{"at": p.field, "detail": p.text} for p in error.problems]
        raise Problem(422, "validation", str(error), errors=errors) from None
    except TakenError as error:
        raise Problem(409, "revision", str(error)) from None
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/procedures/{found.procedure.id}"
    return procedure_item(found)


@router.post(
    "/procedures/{procedure}/approve",
    response_model=ProcedureItem,
    summary="Approve a revision of a procedure",
)
def approve(
    request: Request, actor: SpecifyingActor, procedure: ProcedureId, said: Approval
) -> dict[str, Any]:
    """Approve a revision; one that is approved already stays as it is."""
    services = services_of(request)
    records, now = services.records.procedures, services.clock()
    found = records.approve(procedure, said.revision, actor, now, "http")
    if found is None:
        raise Problem(404, "procedure", f"there is no procedure {procedure} {said.revision}")
    return procedure_item(found)


def procedure_item(found: ProcedureRevision) -> dict[str, Any]:
    """Describe a revision."""
    act = {name: getattr(found, name) for name in ("author", "time", "approved_by", "approved_at")}
    return {**asdict(found.procedure), **act}

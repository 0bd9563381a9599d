"""`procedures`: the windows that welds are held to, with every revision."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request

from steadybead_api.access import Reader, services_of
from steadybead_api.problems import Problem
from steadybead_api.schemas import Listed, ProcedureItem
from steadybead_collector.records.procedures import ProcedureRevision

router = APIRouter(tags=["procedures"])
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


def procedure_item(found: ProcedureRevision) -> dict[str, Any]:
    """Describe a revision."""
    return {**asdict(found.procedure), "author": found.author, "time": found.time}

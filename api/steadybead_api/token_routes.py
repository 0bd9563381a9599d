"""`tokens`: for programs, made and withdrawn by an administrator."""

from typing import Annotated, Any

from fastapi import Depends, Path, Request
from pydantic import BaseModel

from steadybead_api.access import ADMINISTERING, may_act, may_see, services_of
from steadybead_api.fields import Words
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_domain.people import Actor, Role, name_key
from steadybead_domain.times import format_rfc3339

router = api_router("people")
Administrator = Annotated[Actor, Depends(may_act(ADMINISTERING))]
Overseer = Annotated[Actor, Depends(may_see(ADMINISTERING))]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


class TokenItem(BaseModel):
    """A token without its text; `withdrawn` is null while it is good."""

    id: int
    name: str
    role: Role
    created: str
    created_by: str
    withdrawn: str | None


class NewToken(BaseModel):
    """Under which name and in which role a program acts."""

    name: Words
    role: Role


class MadeToken(BaseModel):
    """The text of a new token; it is told this once."""

    token: str


@router.get("/tokens", response_model=Listed[TokenItem], summary="Tokens of programs")
def tokens(request: Request, _actor: Overseer) -> dict[str, Any]:
    """List all tokens ever made, the newest first, without their texts."""
    found = services_of(request).records.access.tokens()
    items = [
        TokenItem(
            id=row.id,
            name=row.actor.name,
            role=row.actor.role,
            created=format_rfc3339(row.created),
            created_by=row.created_by,
            withdrawn=None if row.revoked is None else format_rfc3339(row.revoked),
        )
        for row in found
    ]
    return {"items": items, "next": None}


@router.post("/tokens", status_code=201, summary="Make a token")
def make_token(request: Request, said: NewToken, actor: Administrator) -> MadeToken:
    """Make a token and tell its text; 409 if a person has the name, who would seem to act."""
    services = services_of(request)
    taken = {name_key(a.name) for a in services.records.accounts.all()}
    if name_key(said.name) in taken:
        raise Problem(409, "account", "a person has this name: name the program")
    holder, now = Actor(said.name, said.role), services.clock()
    return MadeToken(token=services.records.access.create_token(holder, actor, now, "http"))


@router.post("/tokens/{number}/withdraw", status_code=204, summary="Withdraw a token")
def withdraw_token(request: Request, number: Number, actor: Administrator) -> None:
    """Let the token open nothing any more; its sessions end. 404 if it was withdrawn before."""
    services = services_of(request)
    if not services.records.access.revoke_token(number, actor, services.clock(), "http"):
        raise Problem(404, "token", "there is no such token, or it was withdrawn before")

"""`people`, `tablets` and `me`: who may sign in, and what everybody changes for themselves."""

from collections.abc import Callable
from functools import partial
from typing import Annotated, Any

from fastapi import Depends, Path, Request, Response
from pydantic import BaseModel, Field

from steadybead_api.access import ADMINISTERING, COOKIE, may_act, may_see, services_of
from steadybead_api.fields import Words
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.signing_in import NAME_FAULT, TABLET_COOKIE
from steadybead_collector.records.accounts import AccountError, Tablet, Way
from steadybead_domain.people import Account, Actor, Role
from steadybead_domain.times import format_rfc3339

router = api_router("people")
Administrator = Annotated[Actor, Depends(may_act(ADMINISTERING))]
Overseer = Annotated[Actor, Depends(may_see(ADMINISTERING))]
Anybody = Annotated[Actor, Depends(may_act(frozenset(Role)))]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Secret = Annotated[str, Field(max_length=500)]
TABLET_FOR_S = 400 * 24 * 3600  # what browsers keep at most


class Person(BaseModel):
    """An account, without its secrets."""

    id: int
    name: str
    role: Role
    created: str
    created_by: str
    has_password: bool
    has_pin: bool
    closed: bool


class NewPerson(BaseModel):
    """Somebody who may sign in."""

    name: Words
    role: Role
    password: Secret = ""


class NewRole(BaseModel):
    """Another role."""

    role: Role


class NewSecret(BaseModel):
    """A password or PIN; empty takes a PIN away."""

    password: Secret | None = None
    pin: Secret | None = None


class OwnSecret(NewSecret):
    """A change for oneself, proven by the password that holds until now."""

    current: Secret


class NewTablet(BaseModel):
    """Where the tablet stands."""

    place: Words


class TabletItem(BaseModel):
    """A shared tablet; `withdrawn` is null while its users may use their PINs."""

    id: int
    place: str
    created: str
    created_by: str
    withdrawn: str | None


@router.get("/people", response_model=Listed[Person], summary="All accounts")
def people(request: Request, _actor: Overseer) -> dict[str, Any]:
    """List the accounts by name."""
    found = services_of(request).records.accounts.all()
    return {"items": [shown(a) for a in found], "next": None}


@router.post("/people", status_code=201, summary="Make an account")
def make_person(request: Request, said: NewPerson, actor: Administrator) -> Person:
    """Make an account; 409 if the name is taken or the password too easy."""
    services = services_of(request)
    return shown(
        _done(
            lambda: services.records.accounts.create(
                said.name, said.role, actor, services.clock(), "http", password=said.password
            )
        )
    )


@router.post("/people/{number}/role", summary="Give another role")
def set_role(request: Request, number: Number, said: NewRole, actor: Administrator) -> Person:
    """Change the role; the person's sessions end."""
    services = services_of(request)
    accounts, now = services.records.accounts, services.clock()
    return shown(_done(lambda: accounts.set_role(number, said.role, actor, now, "http")))


@router.post("/people/{number}/close", summary="Close an account")
def close(request: Request, number: Number, actor: Administrator) -> Person:
    """Let nobody sign in under it any more; what was done under it stays."""
    return _set_closed(request, number, actor, closed=True)


@router.post("/people/{number}/open", summary="Open a closed account")
def reopen(request: Request, number: Number, actor: Administrator) -> Person:
    """Let the person sign in again."""
    return _set_closed(request, number, actor, closed=False)


@router.post("/people/{number}/secret", summary="Set password or PIN")
def set_secret(request: Request, number: Number, said: NewSecret, actor: Administrator) -> Person:
    """Set what was sent; the person's sessions end."""
    return shown(_change_secret(request, number, said, actor))


@router.post("/me/secret", summary="Change one's own password or PIN")
def set_own_secret(request: Request, said: OwnSecret, actor: Anybody) -> Person:
    """Change one's own; 403 without an account or with a wrong password. All sessions end."""
    services = services_of(request)
    key, now = f"name {actor.name.casefold()[:64]}", services.clock()
    if wait_s := services.tries.wait_s(key, now):
        raise Problem(429, "tries", f"too many wrong tries: wait {wait_s} s")
    found = services.records.accounts.proven(actor.name, Way.PASSWORD, said.current)
    if found is None or found.role is not actor.role:
        services.tries.wrong(key, now)
        raise Problem(403, "password", NAME_FAULT)
    services.tries.right(key)
    return shown(_change_secret(request, found.id, said, actor))


@router.get("/tablets", response_model=Listed[TabletItem], summary="Shared tablets")
def tablets(request: Request, _actor: Overseer) -> dict[str, Any]:
    """List the shared tablets, the newest first."""
    found = services_of(request).records.accounts.tablets()
    return {"items": [_tablet(t) for t in found], "next": None}


@router.post("/tablets", status_code=201, summary="Make this browser a shared tablet")
def make_tablet(
    request: Request, response: Response, said: NewTablet, actor: Administrator
) -> dict[str, str]:
    """Let the users of this browser sign in by PIN; the administrator is signed out of it."""
    services = services_of(request)
    now = services.clock()
    secret = services.records.accounts.make_tablet(said.place, actor, now, "http")
    response.set_cookie(
        TABLET_COOKIE,
        secret,
        max_age=TABLET_FOR_S,
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )
    session = request.cookies.get(COOKIE)
    if session is not None:
        services.records.access.log_out(session, now, "http")
        response.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return {"place": said.place}


@router.post("/tablets/{number}/withdraw", status_code=204, summary="Withdraw a shared tablet")
def withdraw_tablet(request: Request, number: Number, actor: Administrator) -> None:
    """Let no PIN be good there any more; 404 if it is unknown or was withdrawn."""
    services = services_of(request)
    if not services.records.accounts.withdraw_tablet(number, actor, services.clock(), "http"):
        raise Problem(404, "tablet", "there is no such tablet, or it was withdrawn before")


def shown(account: Account) -> Person:
    """Write an account without its secrets."""
    return Person(
        id=account.id,
        name=account.name,
        role=account.role,
        created=format_rfc3339(account.created),
        created_by=account.created_by,
        has_password=account.has_password,
        has_pin=account.has_pin,
        closed=account.closed,
    )


def _tablet(found: Tablet) -> TabletItem:
    withdrawn = None if found.withdrawn is None else format_rfc3339(found.withdrawn)
    made = format_rfc3339(found.created)
    return TabletItem(
        id=found.id,
        place=found.place,
        created=made,
        created_by=found.created_by,
        withdrawn=withdrawn,
    )


def _set_closed(request: Request, number: int, actor: Actor, *, closed: bool) -> Person:
    services = services_of(request)
    accounts, now = services.records.accounts, services.clock()
    return shown(_done(lambda: accounts.set_closed(number, actor, now, "http", closed=closed)))


def _change_secret(request: Request, number: int, said: NewSecret, actor: Actor) -> Account:
    services = services_of(request)
    accounts, now = services.records.accounts, services.clock()
    if said.password is None and said.pin is None:
        raise Problem(422, "validation", "send a password or a pin")
    if said.password == "":
        raise Problem(422, "validation", "a password cannot be empty: close the account instead")
    found = _done(lambda: accounts.get(number))
    for way, secret in ((Way.PASSWORD, said.password), (Way.PIN, said.pin)):
        if secret is not None:
            found = _done(partial(accounts.set_secret, number, way, secret, actor, now, "http"))
    return found


def _done(act: Callable[[], Account]) -> Account:
    try:
        return act()
    except AccountError as error:
        raise Problem(409, "account", str(error)) from None

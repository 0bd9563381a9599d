"""The ways to sign in: by token, by name and password, by name and PIN on a shared tablet."""

import logging
from collections.abc import Callable
from typing import Final

from fastapi import Request
from pydantic import BaseModel, Field, model_validator

from steadybead_api.access import services_of
from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_collector.event_log import event
from steadybead_collector.records.accounts import AccountError, Way
from steadybead_domain.people import Actor, Role

LOG: Final = logging.getLogger(__name__)
TABLET_COOKIE: Final = "steadybead_tablet"
TOKEN_FAULT = "this token is unknown or revoked: ask for a new one"  # noqa: S105
NAME_FAULT = "name and password do not belong together, or the account is closed"
PIN_FAULT = "name and PIN do not belong together"
TABLET_FAULT = "a PIN is good on a shared tablet only: sign in with the password"
CODE_FAULT = "this code is not good any more: read the newest one on the server's console"


class Login(BaseModel):
    """A token, or a name with a password or PIN; and the page to go to."""

    token: str = Field("", max_length=200)
    name: str = Field("", max_length=200)
    password: str = Field("", max_length=500)
    pin: str = Field("", max_length=20)
    code: str = Field("", max_length=100, description="of the first start: makes the administrator")
    next: str = "/"

    @model_validator(mode="after")
    def _one_way(self) -> "Login":
        given = [bool(self.token), bool(self.password), bool(self.pin)]
        if sum(given) != 1 or bool(self.name) == bool(self.token):
            raise ValueError("send a token, or a name with its password, or a name with its PIN")
        if self.code and not self.password:
            raise ValueError("the first administrator needs a password")
        return self


def sign_in(request: Request, said: Login) -> tuple[Actor, str]:
    """Give who it is and the new session's secret; Problem 401, 409 or 429."""
    services = services_of(request)
    if said.token:
        return _by_token(services, said)
    if said.code:
        return _throttled(request, said, lambda: _by_code(services, said))
    return _throttled(request, said, lambda: _by_name(request, services, said))


def _throttled(
    request: Request, said: Login, proven: Callable[[], tuple[Actor, str]]
) -> tuple[Actor, str]:
    services = services_of(request)
    now = services.clock()
    host = "" if request.client is None else request.client.host
    keys = {
        f"name {said.name.casefold()[:64]}": services.tries,
        f"host {host}": services.host_tries,
    }
    wait_s = max(tries.wait_s(key, now) for key, tries in keys.items())
    if wait_s:
        told = event("sign_in_slowed", host=host, wait_s=wait_s)
        LOG.warning("too many wrong tries", extra=told)
        raise Problem(
            429, "tries", f"too many wrong tries: wait {wait_s} s", {"Retry-After": str(wait_s)}
        )
    try:
        found = proven()
    except Problem as problem:
        for key, tries in keys.items():
            tries.wrong(key, now)
        told = event("sign_in_failed", host=host, why=problem.kind)
        LOG.warning("a sign-in failed", extra=told)
        raise
    for key, tries in keys.items():
        tries.right(key)
    return found


def _by_token(services: Services, said: Login) -> tuple[Actor, str]:
    access, now = services.records.access, services.clock()
    actor = access.token_actor(said.token)
    secret = access.log_in(said.token, now, "http")
    if actor is None or secret is None:
        LOG.warning("a sign-in failed", extra=event("sign_in_failed", why="token"))
        raise Problem(401, "token", TOKEN_FAULT)
    return actor, secret


def _by_name(request: Request, services: Services, said: Login) -> tuple[Actor, str]:
    accounts = services.records.accounts
    way = Way.PIN if said.pin else Way.PASSWORD
    if way is Way.PIN and tablet_of(request) is None:
        raise Problem(401, "tablet", TABLET_FAULT)
    found = accounts.proven(said.name, way, said.pin or said.password)
    if found is None:
        raise Problem(401, way.value, PIN_FAULT if way is Way.PIN else NAME_FAULT)
    return found.actor, accounts.log_in(found, way, services.clock(), "http")


def _by_code(services: Services, said: Login) -> tuple[Actor, str]:
    accounts, now = services.records.accounts, services.clock()
    with services.first.turn:
        if not services.first.accepts(said.code):
            raise Problem(401, "code", CODE_FAULT)
        by = Actor("first start", Role.ADMINISTRATOR)
        try:
            made = accounts.create(
                said.name, Role.ADMINISTRATOR, by, now, "http", password=said.password
            )
        except AccountError as error:
            raise Problem(409, "account", str(error)) from None
    return made.actor, accounts.log_in(made, Way.PASSWORD, now, "http")


def tablet_of(request: Request) -> str | None:
    """Tell where the shared tablet stands that asks; None for any other browser."""
    secret = request.cookies.get(TABLET_COOKIE)
    return None if not secret else services_of(request).records.accounts.tablet_place(secret)

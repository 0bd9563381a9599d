"""Who asks: a bearer token or a session, and what the role allows.

Reading needs a login unless the plant file opens it. Acts always need one. An act by session
also needs the session's CSRF token, which a foreign page cannot read.
"""

import hashlib
import hmac
from typing import Annotated, Final, Protocol

from fastapi import Depends, Request
from fastapi.security import APIKeyCookie, HTTPBearer

from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_domain.people import Actor, Role

COOKIE: Final = "steadybead_session"
CSRF_HEADER: Final = "X-CSRF-Token"
BEARER = HTTPBearer(auto_error=False, scheme_name="bearer token")
SESSION = APIKeyCookie(name=COOKIE, auto_error=False, scheme_name="session")
WHOLE = "Authorization: Bearer <token>"

WELDING = frozenset({Role.WELDER, Role.QUALITY, Role.ADMINISTRATOR})
ACKNOWLEDGING = frozenset({Role.WELDER, Role.MAINTENANCE, Role.QUALITY, Role.ADMINISTRATOR})
SHELVING = frozenset({Role.MAINTENANCE, Role.ADMINISTRATOR})
CALIBRATING = frozenset({Role.MAINTENANCE, Role.QUALITY, Role.ADMINISTRATOR})
CHECKING = frozenset({Role.WELDER, *CALIBRATING})
MAINTAINING = CALIBRATING
SPECIFYING = frozenset({Role.QUALITY, Role.ADMINISTRATOR})
SUPERVISING = frozenset({Role.QUALITY, Role.ADMINISTRATOR})
ADMINISTERING = frozenset({Role.ADMINISTRATOR})
SETTING_UP = frozenset({Role.MAINTENANCE, Role.ADMINISTRATOR})
SEEING_WELDERS = frozenset({Role.QUALITY, Role.ADMINISTRATOR})


class Gate(Protocol):
    """A dependency that lets a request through or raises."""

    def __call__(self, request: Request) -> Actor:
        """Give the actor; Problem 401 or 403."""


def services_of(request: Request) -> Services:
    """Give the services of the application that serves the request."""
    services: Services = request.app.state.services
    return services


def session_secret(request: Request) -> str | None:
    """Give the session's secret, also if it was opened in this very request."""
    opened: str | None = getattr(request.state, "opened_session", None)
    return opened or request.cookies.get(COOKIE)


def current_actor(request: Request) -> Actor | None:
    """Tell who asks, None for a stranger. A bearer token goes before a session."""
    if not hasattr(request.state, "actor"):
        request.state.actor = _found(request)
    actor: Actor | None = request.state.actor
    return actor


def csrf_token(request: Request) -> str:
    """Give the token that an act of this session must carry; empty without a session."""
    secret = session_secret(request)
    return "" if secret is None else csrf_of(secret)


def csrf_of(secret: str) -> str:
    """Derive the CSRF token from a session's secret; it does not lead back."""
    return hmac.new(secret.encode(errors="surrogatepass"), b"csrf", hashlib.sha256).hexdigest()


def check_csrf(request: Request, sent: str | None) -> None:
    """Raise Problem 403 if an act by session carries another token or none."""
    if _bearer(request) is None and not hmac.compare_digest(
        csrf_token(request).encode(), (sent or "").encode(errors="surrogatepass")
    ):
        raise Problem(403, "csrf", f"send the page's token in the header {CSRF_HEADER}")


def may_read(request: Request) -> Actor | None:
    """Let a reader through: anyone where reading is open, else whoever is logged in."""
    actor = current_actor(request)
    if actor is None and services_of(request).access.read != "open":
        raise unauthorized()
    return actor


def may_act(roles: frozenset[Role]) -> Gate:
    """Make the gate of an act for some roles."""

    def gate(request: Request) -> Actor:
        actor = current_actor(request)
        if actor is None:
            raise unauthorized()
        check_csrf(request, request.headers.get(CSRF_HEADER))
        if actor.role not in roles:
            allowed = ", ".join(sorted(roles))
            raise Problem(403, "role", f"role {actor.role} may not do this; it needs {allowed}")
        return actor

    return gate


def may_see(roles: frozenset[Role]) -> Gate:
    """Make the gate of reading what only some roles may see, however open the shop is."""

    def gate(request: Request) -> Actor:
        actor = current_actor(request)
        if actor is None:
            raise unauthorized()
        if actor.role not in roles:
            allowed = ", ".join(sorted(roles))
            raise Problem(403, "role", f"role {actor.role} may not see this; it needs {allowed}")
        return actor

    return gate


def unauthorized() -> Problem:
    """Make the answer to a stranger."""
    return Problem(401, "login", f"log in, or send {WHOLE}", headers={"WWW-Authenticate": "Bearer"})


def _bearer(request: Request) -> str | None:
    header = request.headers.get("authorization")
    if header is None:
        return None
    scheme, _, secret = header.partition(" ")
    if scheme.lower() != "bearer" or not secret.strip():
        raise unauthorized()
    return secret.strip()


def _found(request: Request) -> Actor | None:
    services = services_of(request)
    if (token := _bearer(request)) is not None:
        actor = services.records.access.token_actor(token)
        if actor is None:
            raise unauthorized()
        return actor
    secret = session_secret(request)
    if secret is None:
        return None
    return services.records.access.session_actor(secret, services.clock())


Reader = Annotated[Actor | None, Depends(may_read)]
WeldingActor = Annotated[Actor, Depends(may_act(WELDING))]
AcknowledgingActor = Annotated[Actor, Depends(may_act(ACKNOWLEDGING))]
ShelvingActor = Annotated[Actor, Depends(may_act(SHELVING))]
CalibratingActor = Annotated[Actor, Depends(may_act(CALIBRATING))]
MaintainingActor = Annotated[Actor, Depends(may_act(MAINTAINING))]
SpecifyingActor = Annotated[Actor, Depends(may_act(SPECIFYING))]
CheckingActor = Annotated[Actor, Depends(may_act(CHECKING))]

"""Pages of signing in, of the first start, and of people: build a context, render it."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from steadybead_api.access import ADMINISTERING, current_actor
from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.services import Services
from steadybead_api.signing_in import tablet_of
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.people import AccountPage, FirstPage, people_page
from steadybead_dashboards.render import renderer
from steadybead_dashboards.signin import ProblemPage, SignInPage, own_path
from steadybead_domain.people import Account, Role, name_key

PROBLEMS = {
    "token": mark(
        "This token is not known here, or it was withdrawn. Check that all of it was pasted."
    ),
    "form": mark("This form was open too long. Please try once more."),
    "validation": mark("Give a name with its password or PIN, or a token."),
    "password": mark("Name and password do not belong together, or the account is closed."),
    "pin": mark("Name and PIN do not belong together."),
    "tablet": mark("A PIN is good on a shared tablet only. Sign in with the password."),
    "tries": mark("Too many wrong tries. Wait a little, then try once more."),
    "origin": mark("Sign in from this very page, not from another site's."),
    "store": mark("The records cannot be read at the moment. Please try again."),
}
NO_CODE = mark("This address is not good any more")
NO_CODE_REMEDY = mark(
    "There is an administrator already, or the server has started anew since: the newest address"
    " stands on its console."
)
NOT_FOR_YOU = mark("People are kept by an administrator")
NOT_FOR_YOU_REMEDY = mark("Sign in as one, or ask one to do it.")


class PeoplePages:
    """Makes the pages from the services."""

    def __init__(self, pages: Pages, services: Services) -> None:
        self._pages, self._services = pages, services

    def sign_in(self, request: Request, target: str, problem: str) -> Response:
        """Ask who it is; on a shared tablet first for a PIN."""
        place, accounts = tablet_of(request), self._accounts()
        names = () if place is None else tuple(a.name for a in accounts if _by_pin(a))
        by_name = any(a.has_password and not a.closed for a in accounts)
        shell, said = self._pages.shell(request), PROBLEMS.get(problem, "")
        page = SignInPage(shell, own_path(target), said, place, names, by_name)
        return self._pages.answer(page)

    def first(self, request: Request, code: str, problem: str) -> Response:
        """Ask for the first administrator."""
        shell = self._pages.shell(request)
        if not self._services.first.accepts(code):
            return self._pages.answer(ProblemPage(shell, 404, NO_CODE, NO_CODE_REMEDY), 404)
        return self._pages.answer(FirstPage(shell, code, problem[:300]))

    def people(self, request: Request) -> Response:
        """Show accounts, tablets and tokens to an administrator."""
        shell, actor = self._pages.shell(request), current_actor(request)
        if actor is None:
            return RedirectResponse("/signin?next=/people", 303)
        if actor.role not in ADMINISTERING:
            page = ProblemPage(shell, 403, NOT_FOR_YOU, NOT_FOR_YOU_REMEDY)
            return self._pages.answer(page, 403)
        records = self._services.records
        tablets, tokens = records.accounts.tablets(), records.access.tokens()
        return self._pages.answer(people_page(shell, self._accounts(), tablets, tokens))

    def account(self, request: Request) -> Response:
        """Let a person change their own password and PIN."""
        shell, actor = self._pages.shell(request), current_actor(request)
        if actor is None:
            return RedirectResponse("/signin?next=/account", 303)
        key = name_key(actor.name)
        own = next((a for a in self._accounts() if name_key(a.name) == key), None)
        return self._pages.answer(AccountPage(shell, own))

    def _accounts(self) -> list[Account]:
        return self._services.records.accounts.all()


def people_router(services: Services) -> APIRouter:
    """Give the routes of the pages."""
    made = PeoplePages(Pages(ServiceSources(services), renderer()), services)
    router = APIRouter(include_in_schema=False)

    @router.get("/signin")
    def signin(request: Request, next: str = "/", problem: str = "") -> Response:  # noqa: A002
        return made.sign_in(request, next, problem)

    @router.get("/first")
    def first(request: Request, code: str = "", problem: str = "") -> Response:
        return made.first(request, code, problem)

    @router.get("/people")
    def people(request: Request) -> Response:
        return made.people(request)

    @router.get("/account")
    def account(request: Request) -> Response:
        return made.account(request)

    return router


def _by_pin(account: Account) -> bool:
    return account.has_pin and not account.closed and account.role is not Role.ADMINISTRATOR

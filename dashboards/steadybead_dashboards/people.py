"""The pages of people: the first administrator, accounts and shared tablets, one's own account."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Protocol

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.people import LONGEST_PASSWORD, SHORTEST_PASSWORD, Account, Actor, Role

ROLES = {
    Role.VIEWER: mark("viewer: looks, does nothing"),
    Role.WELDER: mark("welder: weld records, checks, acknowledges"),
    Role.MAINTENANCE: mark("maintenance: filters, calibrations, shelves alarms"),
    Role.QUALITY: mark("quality: procedures, corrections, evidence, welders' names"),
    Role.ADMINISTRATOR: mark("administrator: all of it, and the people"),
}


class TabletFacts(Protocol):
    """What is shown of a shared tablet."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def place(self) -> str:
        """Where it stands."""

    @property
    def created(self) -> int:
        """Since when, µs."""

    @property
    def created_by(self) -> str:
        """By whom."""

    @property
    def withdrawn(self) -> int | None:
        """Until when, µs."""


class TokenFacts(Protocol):
    """What is shown of a program's token."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def actor(self) -> Actor:
        """Under which name and in which role the program acts."""

    @property
    def created(self) -> int:
        """Since when, µs."""

    @property
    def created_by(self) -> str:
        """By whom."""

    @property
    def revoked(self) -> int | None:
        """Until when, µs."""


@dataclass(frozen=True, slots=True)
class FirstPage:
    """The first administrator; `code` came from the console, `problem` from the last try."""

    template: ClassVar[str] = "first.html"
    shell: Shell
    code: str
    problem: str
    shortest: int = SHORTEST_PASSWORD
    longest: int = LONGEST_PASSWORD


@dataclass(frozen=True, slots=True)
class PersonRow:
    """An account in the list."""

    account: Account
    made: Moment
    role: str


@dataclass(frozen=True, slots=True)
class TabletRow:
    """A tablet in the list."""

    id: int
    place: str
    made: Moment
    by: str


@dataclass(frozen=True, slots=True)
class TokenRow:
    """A program's token in the list."""

    id: int
    name: str
    role: str
    made: Moment
    by: str


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """All accounts, the open ones first, the tablets and tokens that are in use."""

    template: ClassVar[str] = "people.html"
    shell: Shell
    people: tuple[PersonRow, ...]
    tablets: tuple[TabletRow, ...]
    tokens: tuple[TokenRow, ...]
    roles: tuple[tuple[str, str], ...]
    shortest: int = SHORTEST_PASSWORD
    longest: int = LONGEST_PASSWORD


@dataclass(frozen=True, slots=True)
class AccountPage:
    """One's own password and PIN; without `account` the person came by token."""

    template: ClassVar[str] = "account.html"
    shell: Shell
    account: Account | None
    shortest: int = SHORTEST_PASSWORD
    longest: int = LONGEST_PASSWORD


def people_page(
    shell: Shell,
    accounts: Sequence[Account],
    tablets: Iterable[TabletFacts],
    tokens: Iterable[TokenFacts],
) -> PeoplePage:
    """Build the page of an administrator."""
    rows = [PersonRow(a, shell.moment(a.created), ROLES[a.role]) for a in accounts]
    rows.sort(key=lambda row: row.account.closed)
    used = tuple(
        TabletRow(t.id, t.place, shell.moment(t.created), t.created_by)
        for t in tablets
        if t.withdrawn is None
    )
    good = tuple(
        TokenRow(t.id, t.actor.name, t.actor.role.value, shell.moment(t.created), t.created_by)
        for t in tokens
        if t.revoked is None
    )
    roles = tuple((role.value, words) for role, words in ROLES.items())
    return PeoplePage(shell, tuple(rows), used, good, roles)

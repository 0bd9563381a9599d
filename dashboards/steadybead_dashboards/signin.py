"""The page on which a person signs in."""

from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.shell import Shell


@dataclass(frozen=True, slots=True)
class SignInPage:
    """`back` is where to go afterwards; `problem` says why the last try failed, else empty.

    `tablet` is where the shared tablet stands that asks; `names` are those who may sign in there
    by PIN. `by_name`: there are accounts, else a token is the only way in.
    """

    template: ClassVar[str] = "signin.html"
    shell: Shell
    back: str
    problem: str = ""
    tablet: str | None = None
    names: tuple[str, ...] = ()
    by_name: bool = False


@dataclass(frozen=True, slots=True)
class ProblemPage:
    """Something that cannot be shown: what, and what to do about it."""

    template: ClassVar[str] = "problem.html"
    shell: Shell
    status: int
    title: str
    remedy: str


def own_path(path: str) -> str:
    """Give a path of this site to return to, or `/` for anything that could lead elsewhere."""
    plain = path.startswith("/") and not path.startswith("//") and path.isprintable()
    return path if plain and "\\" not in path else "/"

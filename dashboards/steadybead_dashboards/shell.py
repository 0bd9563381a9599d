"""What every page carries around its own matter."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from steadybead_dashboards.site_time import Moment, moment


@dataclass(frozen=True, slots=True)
class Person:
    """Who is signed in.

    `can` holds acts: `weld`, `acknowledge`, `see welders`, `check`, `calibrate`, `maintain`.
    """

    name: str
    role: str
    can: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Shell:
    """Site, time and person around a page.

    `now` in µs is when the page was made; `csrf` goes back with each act; `link` is whether the
    broker can be reached; `path` is this page's own address, to come back to after signing in.
    """

    site: str
    zone: ZoneInfo
    now: int
    path: str
    person: Person | None = None
    csrf: str = ""
    link: bool = True
    language: str = "en"

    def moment(self, time_us: int) -> Moment:
        """Show a time in the site's zone."""
        return moment(time_us, self.zone, self.language)

    def may(self, act: str) -> bool:
        """Tell whether the person who is signed in may do an act."""
        return self.person is not None and act in self.person.can

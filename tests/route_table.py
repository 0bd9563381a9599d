"""Every route of the application and who may use it: what the matrix test holds the routes to.

A route that is not in here fails the test: write down who may use it when you add it.
"""

from dataclasses import dataclass
from typing import Final

from steadybead_domain.people import Role

VIEWER, WELDER, MAINTENANCE = Role.VIEWER, Role.WELDER, Role.MAINTENANCE
QUALITY, ADMINISTRATOR = Role.QUALITY, Role.ADMINISTRATOR
EVERYBODY: Final = frozenset(Role)
WELDING: Final = frozenset({WELDER, QUALITY, ADMINISTRATOR})
ACKNOWLEDGING: Final = EVERYBODY - {VIEWER}
SHELVING: Final = frozenset({MAINTENANCE, ADMINISTRATOR})
SERVICING: Final = frozenset({MAINTENANCE, QUALITY, ADMINISTRATOR})
SPECIFYING: Final = frozenset({QUALITY, ADMINISTRATOR})
ADMINISTERING: Final = frozenset({ADMINISTRATOR})


@dataclass(frozen=True, slots=True)
class Rule:
    """Who may use a route.

    `roles` are let in. `strangers`: "always" lets anybody in, "open" where reading is open,
    "never". `act`: a session needs its CSRF token. `page`: a stranger is led to the sign-in page.
    """

    roles: frozenset[Role]
    strangers: str
    act: bool = False
    page: bool = False


FREE: Final = Rule(EVERYBODY, "always")
READ: Final = Rule(EVERYBODY, "open")
PAGE: Final = Rule(EVERYBODY, "open", page=True)
OWN_PAGE: Final = Rule(EVERYBODY, "never", page=True)
PEOPLE_PAGE: Final = Rule(ADMINISTERING, "never", page=True)
SEE_PEOPLE: Final = Rule(ADMINISTERING, "never")
SET_UP: Final = Rule(SHELVING, "never")
SET_UP_PAGE: Final = Rule(SHELVING, "never", page=True)


def act(roles: frozenset[Role]) -> Rule:
    """Give the rule of an act."""
    return Rule(roles, "never", act=True)


_API: Final = "/api/v1"
_READS: Final = [
    "stations",
    "stations/{site}/{station}",
    "stations/{site}/{station}/reach",
    "readings",
    "alarms",
    "alarms/{alarm}",
    "alarms/{alarm}/history",
    "alarm-quality",
    "notices",
    "welds",
    "welds/{weld}",
    "welds/{weld}/amendments",
    "welds/{weld}/signatures",
    "welds/{weld}/trace",
    "welds/{weld}/table",
    "welds/{weld}/verdict",
    "welds/{weld}/evidence",
    "welds/{weld}/cut-plans",
    "welds/{weld}/cut-plans/{plan}/sheet",
    "evidence-key",
    "procedures",
    "procedures/{procedure}",
    "procedures/{procedure}/revisions",
    "quarantine",
    "live",
    "instruments",
    "instruments/{instrument}",
    "calibrations",
    "calibrations/{calibration}",
    "calibrations/{calibration}/revisions",
    "calibrations/{calibration}/impact",
    "reference-checks",
    "reference-checks/{check}",
    "reference-checks/{check}/revisions",
    "reference-checks/{check}/impact",
    "sensors",
    "sensors/history",
    "worth",
    "findings",
    "findings/{finding}",
    "filter-changes",
    "filter-changes/{change}",
    "work-list",
    "heard",
    "heard/stations",
    "quarantine/reasons",
]
_PAGES: Final = [
    "/",
    "/stations/{site}/{station}",
    "/sensors",
    "/sensors/{site}/{station}/{owner}/{what}",
    "/reference-check",
    "/calibration",
    "/calibrations/{calibration}",
    "/procedures",
    "/procedures/new",
    "/procedures/{procedure}",
    "/procedures/{procedure}/revise",
    "/welds",
    "/welds/new",
    "/welds/{weld_id}",
    "/quality",
    "/maintenance",
    "/alarms",
    "/alarms/{alarm}",
    "/work-list",
    "/alarm-quality",
]
_ACTS: Final = {
    "alarms/{alarm}/acknowledge": ACKNOWLEDGING,
    "alarms/{alarm}/shelve": SHELVING,
    "alarms/{alarm}/unshelve": SHELVING,
    "alarms/{alarm}/take-out-of-service": SHELVING,
    "alarms/{alarm}/return-to-service": SHELVING,
    "welds": WELDING,
    "welds/{weld}/stop": WELDING,
    "welds/{weld}/amendments": WELDING,
    "welds/{weld}/signatures": WELDING,
    "welds/{weld}/cut-plans": SPECIFYING,
    "welds/{weld}/cut-results": SPECIFYING,
    "procedures": SPECIFYING,
    "procedures/{procedure}/approve": SPECIFYING,
    "instruments": SERVICING,
    "instruments/{instrument}/fittings": SERVICING,
    "calibrations": SERVICING,
    "reference-checks": SERVICING | {WELDER},
    "filter-changes": SERVICING,
    "plant-file/check": SHELVING,
    "people": ADMINISTERING,
    "people/{number}/role": ADMINISTERING,
    "people/{number}/close": ADMINISTERING,
    "people/{number}/open": ADMINISTERING,
    "people/{number}/secret": ADMINISTERING,
    "me/secret": EVERYBODY,
    "tablets": ADMINISTERING,
    "tokens": ADMINISTERING,
    "tokens/{number}/withdraw": ADMINISTERING,
    "tablets/{number}/withdraw": ADMINISTERING,
}

TABLE: Final[dict[tuple[str, str], Rule]] = {
    **{("GET", f"{_API}/{path}"): READ for path in _READS},
    **{("GET", path): PAGE for path in _PAGES},
    **{("POST", f"{_API}/{path}"): act(roles) for path, roles in _ACTS.items()},
    ("GET", f"{_API}/people"): SEE_PEOPLE,
    ("GET", f"{_API}/tablets"): SEE_PEOPLE,
    ("GET", f"{_API}/tokens"): SEE_PEOPLE,
    ("GET", f"{_API}/work-list.ics"): READ,
    ("GET", f"{_API}/heard"): SET_UP,
    ("GET", f"{_API}/heard/stations"): SET_UP,
    ("GET", "/people"): PEOPLE_PAGE,
    ("GET", "/setup"): SET_UP_PAGE,
    ("GET", "/account"): OWN_PAGE,
    # Open to all: they tell nothing of the shop, or are the way in.
    ("GET", "/healthz"): FREE,
    ("GET", "/readyz"): FREE,
    ("GET", "/metrics"): FREE,
    ("GET", "/openapi.json"): FREE,
    ("GET", "/static/{fingerprint}/{path}"): FREE,
    ("GET", "/signin"): FREE,
    ("GET", "/first"): FREE,  # shows nothing without the code of the console
    ("POST", "/login"): FREE,
    ("POST", "/logout"): Rule(EVERYBODY, "always", act=True),
    ("POST", "/language"): FREE,  # a cookie of the browser; from this server's pages only
}

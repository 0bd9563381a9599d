"""The OpenAPI document holds: schemathesis asks what it allows and what it does not."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import (
    ignored_auth,
    negative_data_rejection,
    positive_data_acceptance,
)

from api_shop import NOZZLE, Shop, make_shop, mixed, put
from calibration_samples import FITTING, INSTRUMENT, calibration, check
from maintenance_samples import drift_finding, filter_change, filter_finding
from records_samples import CHIEF, T0, fact, refusal, start
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.diagnosis.standing import finding_id
from steadybead_domain.people import Role
from steadybead_domain.times import DAY

KNOWN = {
    "weld": "w1",
    "alarm": "al1",
    "procedure": "pp-speed-nozzle",
    "site": "north",
    "station": "bay-1",
    "instrument": "tc-7",
    "calibration": "cal-1",
    "check": "check-1",
    "finding": finding_id(drift_finding()),
    "change": "fc-1",
    "plan": "cut-1",
}

# What refuses bad input; schemathesis's own list lacks 413 (RFC 9110, section 15.5.14)
REFUSING = [400, 401, 403, 404, 405, 406, 409, 413, 415, 422, 428, 429, "5xx"]
BOUNDED = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    opened = make_shop(Path(tmp_path_factory.mktemp("shop")))
    opened.board.connected(opened.clock())
    put(opened, NOZZLE, mixed())
    opened.records.add_weld_event(start("w1"))
    opened.records.add_alarm_facts([fact("al1", 0, active=True)])
    act = Act(CHIEF, T0 + DAY, "test")
    kept = opened.records.instruments
    nozzle = next(c for c in opened.services.plant().channels() if c.id == NOZZLE)
    kept.keep(INSTRUMENT, act)
    kept.keep_fitting(FittingRecord("f-1", replace(FITTING, start=T0 - DAY)), nozzle, act)
    kept.keep_calibration(calibration(performed=T0, effective=T0), act)
    kept.keep_check(check(time=T0), nozzle, act)
    opened.records.add_findings([drift_finding(), filter_finding()])
    opened.records.filter_changes.keep(filter_change(), act)
    opened.records.quarantine([refusal(b"\xff"), refusal(b"text")])
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def administrator(shop: Shop) -> dict[str, str]:
    return shop.token(Role.ADMINISTRATOR)


@pytest.fixture(scope="module")
def document(shop: Shop) -> Any:
    # `live` never ends and an evidence file takes long to make: other tests ask for them
    rejection = {"negative_data_rejection": {"expected-statuses": REFUSING}}
    config = SchemathesisConfig.from_dict({"checks": rejection})
    described = schemathesis.openapi.from_asgi("/openapi.json", shop.app, config=config)
    return described.exclude(path="/api/v1/live").exclude(path="/api/v1/welds/{weld}/evidence")


# Rules between fields, or with the clock and the plant, that JSON Schema cannot say
CHECKED_FURTHER = {
    "GET /api/v1/readings",
    "POST /api/v1/welds",
    "POST /api/v1/welds/{weld}/stop",
    "POST /api/v1/welds/{weld}/amendments",
    "POST /api/v1/welds/{weld}/signatures",
    "POST /api/v1/procedures",
    "POST /api/v1/procedures/{procedure}/approve",
    "POST /api/v1/alarms/{alarm}/shelve",
    "POST /api/v1/alarms/{alarm}/take-out-of-service",
    "GET /api/v1/alarm-quality",
    "POST /api/v1/instruments",
    "POST /api/v1/instruments/{instrument}/fittings",
    "POST /api/v1/calibrations",
    "POST /api/v1/reference-checks",
    "POST /api/v1/filter-changes",
    "POST /api/v1/welds/{weld}/cut-plans",
    "POST /api/v1/welds/{weld}/cut-results",
    "GET /api/v1/reference-checks/{check}/impact",
    "GET /api/v1/worth",
    "GET /api/v1/sensors/history",
    "POST /api/v1/people/{number}/secret",
    "POST /api/v1/me/secret",
    "POST /login",
}


def as_asked(case: Any, headers: dict[str, str], asked: set[str]) -> None:
    """Ask as generated, and once more for things that exist.

    Whether the login is looked at does not depend on the rest: asked once an address, with no
    login and with a wrong one. `test_security_routes.py` asks each as each role.
    """
    label = case.operation.label
    excluded: list[Any] = [positive_data_acceptance] if label in CHECKED_FURTHER else []
    known_login = [ignored_auth] if label in asked else []
    asked.add(label)
    case.call_and_validate(headers=headers, excluded_checks=[*excluded, *known_login])
    excluded.append(ignored_auth)
    known = {name: KNOWN.get(name, value) for name, value in (case.path_parameters or {}).items()}
    if known != (case.path_parameters or {}):
        case.path_parameters = known  # what was wrong in the path may be right now
        case.call_and_validate(
            headers=headers, excluded_checks=[*excluded, negative_data_rejection]
        )


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_answers_are_as_described(
    document: Any, administrator: dict[str, str], mode: GenerationMode
) -> None:
    asked: set[str] = set()
    for found in document.get_all_operations():
        operation = found.ok()
        try:
            cases = operation.as_strategy(generation_mode=mode)
            one = BOUNDED(lambda case: as_asked(case, administrator, asked))
            check: Any = given(cases)  # type: ignore[no-untyped-call,unused-ignore]
            check(one)()
        except Unsatisfiable:
            continue  # an address without parameters cannot be asked wrongly
    assert len(asked) >= (35 if mode is GenerationMode.POSITIVE else 22)


def test_every_route_of_this_stage_is_described(shop: Shop) -> None:
    paths = shop.app.openapi()["paths"]
    described = {(path, method) for path, methods in paths.items() for method in methods}
    wanted = {
        ("stations", "get"),
        ("stations/{site}/{station}", "get"),
        ("readings", "get"),
        ("alarms", "get"),
        ("alarms/{alarm}/acknowledge", "post"),
        ("alarms/{alarm}/shelve", "post"),
        ("alarms/{alarm}/unshelve", "post"),
        ("alarms/{alarm}/take-out-of-service", "post"),
        ("alarms/{alarm}/return-to-service", "post"),
        ("alarms/{alarm}/history", "get"),
        ("alarm-quality", "get"),
        ("notices", "get"),
        ("work-list", "get"),
        ("work-list.ics", "get"),
        ("findings", "get"),
        ("findings/{finding}", "get"),
        ("filter-changes", "get"),
        ("filter-changes", "post"),
        ("filter-changes/{change}", "get"),
        ("welds", "get"),
        ("welds", "post"),
        ("welds/{weld}", "get"),
        ("welds/{weld}/stop", "post"),
        ("welds/{weld}/trace", "get"),
        ("welds/{weld}/amendments", "get"),
        ("welds/{weld}/amendments", "post"),
        ("welds/{weld}/signatures", "get"),
        ("welds/{weld}/signatures", "post"),
        ("procedures", "get"),
        ("procedures", "post"),
        ("procedures/{procedure}/approve", "post"),
        ("quarantine", "get"),
        ("live", "get"),
        ("instruments", "get"),
        ("instruments", "post"),
        ("instruments/{instrument}", "get"),
        ("instruments/{instrument}/fittings", "post"),
        ("calibrations", "get"),
        ("calibrations", "post"),
        ("calibrations/{calibration}/impact", "get"),
        ("reference-checks", "get"),
        ("reference-checks", "post"),
        ("sensors", "get"),
        ("sensors/history", "get"),
        ("worth", "get"),
    }
    assert {(f"/api/v1/{path}", method) for path, method in wanted} <= described
    assert {("/healthz", "get"), ("/readyz", "get"), ("/login", "post")} <= described

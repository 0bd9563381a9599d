"""The application: routes, layers around them, and the errors they all share."""

from importlib.metadata import PackageNotFoundError, version

from fastapi import FastAPI
from prometheus_client import Gauge

from steadybead_api import (
    alarm_quality_routes,
    alarm_routes,
    calibration_routes,
    check_routes,
    cut_routes,
    evidence_routes,
    filter_routes,
    finding_routes,
    health_routes,
    instrument_routes,
    live_routes,
    login_routes,
    lost_page,
    openapi,
    people_routes,
    problems,
    procedure_routes,
    quarantine_routes,
    readings_routes,
    sensor_routes,
    setup_routes,
    station_routes,
    table_routes,
    token_routes,
    trace_routes,
    verdict_routes,
    weld_routes,
    work_routes,
)
from steadybead_api.alarm_figures import last_day
from steadybead_api.alarm_metrics import AlarmMetrics
from steadybead_api.alarm_pages import alarm_router
from steadybead_api.demo_visitor import DemoVisitor
from steadybead_api.maintenance_pages import maintenance_router
from steadybead_api.middleware import HEADERS, BodyLimit, Measured, SecurityHeaders
from steadybead_api.page_routes import page_router
from steadybead_api.people_pages import people_router
from steadybead_api.procedure_pages import procedure_router
from steadybead_api.quality_pages import quality_router
from steadybead_api.routers import take
from steadybead_api.sensor_pages import sensor_router
from steadybead_api.services import Services
from steadybead_api.setup_pages import setup_router
from steadybead_api.weld_pages import weld_router

_ROUTES = (
    station_routes,
    readings_routes,
    alarm_routes,
    alarm_quality_routes,
    weld_routes,
    token_routes,
    trace_routes,
    table_routes,
    verdict_routes,
    evidence_routes,
    cut_routes,
    procedure_routes,
    quarantine_routes,
    live_routes,
    instrument_routes,
    calibration_routes,
    check_routes,
    sensor_routes,
    finding_routes,
    filter_routes,
    work_routes,
    people_routes,
    setup_routes,
)
_DESCRIPTION = (
    "Heat and air of hot-gas hand-welding stations. Times are RFC 3339 in UTC, intervals"
    " [start, end), errors RFC 9457 problem details. It only watches: nothing here switches heat"
    " or air, and nothing here says that a gun is safe to touch."
)


def create_app(services: Services) -> FastAPI:
    """Build the application; it owns none of the services and closes none."""
    app = FastAPI(
        title="Steadybead",
        version=_version(),
        description=_DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        separate_input_output_schemas=False,
    )
    app.state.services = services
    _gauges(services)
    problems.install(app, HEADERS)
    for routes in _ROUTES:
        take(app, routes.router)
    take(app, health_routes.router)
    take(app, login_routes.router)
    take(app, page_router(services))
    take(app, people_router(services))
    take(app, sensor_router(services))
    take(app, procedure_router(services))
    take(app, weld_router(services))
    take(app, quality_router(services))
    take(app, maintenance_router(services))
    take(app, alarm_router(services))
    take(app, setup_router(services))
    lost_page.install(app, services)
    openapi.install(app)
    app.add_middleware(DemoVisitor)
    app.add_middleware(BodyLimit)
    app.add_middleware(SecurityHeaders)
    app.add_middleware(Measured, registry=services.registry)
    return app


def _gauges(services: Services) -> None:
    reachable = Gauge(
        "steadybead_broker_subscribed",
        "1 while the broker serves the live feed",
        registry=services.registry,
    )
    reachable.set_function(lambda: float(services.live.reachable))
    streams = Gauge("steadybead_live_streams", "Open live streams", registry=services.registry)
    services.registry.register(AlarmMetrics(lambda: last_day(services), services.clock))
    streams.set_function(lambda: float(services.live.listeners))


def _version() -> str:
    try:
        return version("steadybead")
    except PackageNotFoundError:
        return "0"

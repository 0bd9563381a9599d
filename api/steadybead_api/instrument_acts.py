"""Entering instruments, fittings, calibrations and checks on somebody's behalf."""

import secrets
from collections.abc import Callable
from typing import TypeVar

from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_domain.calibration.model import Calibration, Instrument
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId
from steadybead_domain.people import Actor
from steadybead_domain.plant import Channel

Item = TypeVar("Item")


def new_id(prefix: str, given: str | None, revision: int) -> str:
    """Give the client's id, or a new one; Problem 422 for a later revision of nothing."""
    if given is not None:
        return given
    if revision != 1:
        text = "say which record this is a revision of"
        raise Problem(422, "validation", f"id: {text}", errors=[{"at": "id", "detail": text}])
    return f"{prefix}-{secrets.token_hex(8)}"


def act_of(services: Services, actor: Actor) -> Act:
    """Tell who does it, and that it is now."""
    return Act(actor, services.clock(), "http")


def keep_instrument(services: Services, item: Instrument, act: Act) -> tuple[Instrument, bool]:
    """Keep an instrument; Problem 409 or 422."""
    return _kept(lambda: services.records.instruments.keep(item, act))


def keep_fitting(services: Services, item: FittingRecord, act: Act) -> tuple[FittingRecord, bool]:
    """Keep a fitting; Problem 409 or 422."""
    channel = the_channel(services, item.fitting.channel)
    return _kept(lambda: services.records.instruments.keep_fitting(item, channel, act))


def keep_calibration(services: Services, item: Calibration, act: Act) -> tuple[Calibration, bool]:
    """Keep a calibration; Problem 409 or 422."""
    return _kept(lambda: services.records.instruments.keep_calibration(item, act))


def keep_check(services: Services, item: ReferenceCheck, act: Act) -> tuple[ReferenceCheck, bool]:
    """Keep a reference check; Problem 409 or 422."""
    channel = the_channel(services, item.channel)
    return _kept(lambda: services.records.instruments.keep_check(item, channel, act))


def the_channel(services: Services, channel: ChannelId) -> Channel:
    """Find a channel in the plant file; Problem 422."""
    found = next((c for c in services.plant().channels() if c.id == channel), None)
    if found is None:
        text = f"channel {channel} is not in the plant file: choose one of the list of sensors"
        raise Problem(422, "channel", text, errors=[{"at": "channel", "detail": text}])
    return found


def the_instrument(services: Services, instrument: str) -> Instrument:
    """Find the newest revision of an instrument; Problem 404."""
    found = services.records.instruments.get(instrument)
    if found is None:
        raise Problem(404, "instrument", f"there is no instrument {instrument}")
    return found


def _kept(work: Callable[[], tuple[Item, bool]]) -> tuple[Item, bool]:
    try:
        return work()
    except NotKeptError as error:
        errors = [{"at": p.field, "detail": p.text} for p in error.problems]
        raise Problem(422, "validation", str(error), errors=errors) from None
    except TakenError as error:
        raise Problem(409, "revision", str(error)) from None

"""What the routes stand on, put together once by the composition."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Literal

from prometheus_client import CollectorRegistry

from steadybead_api.first_start import FirstStart
from steadybead_api.live_board import LiveBoard
from steadybead_api.throttle import Throttle
from steadybead_collector.config.notify import NotifyTarget
from steadybead_collector.records.store import Records
from steadybead_domain.plant import Plant
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.verdict.rule import DecisionRule

HOST_FREE_TRIES = 30  # a whole shop may sit behind one address


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that must hold before the service is ready, and how it stands."""

    name: str
    ok: bool
    detail: str = ""


@dataclass(frozen=True, slots=True)
class AccessPolicy:
    """Who may read; `demo` gives a visitor from this very machine a session by itself."""

    read: Literal["login", "open"] = "login"
    demo: bool = False


def no_conditions() -> Sequence[Condition]:
    """Say nothing of a collector: it runs in another process."""
    return ()


@dataclass(frozen=True)
class Services:
    """The stores, the live state and the settings of one running API.

    `clock` gives µs. `status` gives the conditions of a collector in this process. Set `stopping`
    before the server is asked to end: open event streams end within half a second. `targets`:
    who is told of alarms. `rule`: how verdicts are decided. `data_dir` holds signing key and roots.
    `tries` and `host_tries` slow down who guesses passwords.
    """

    readings: ReadingsStore
    records: Records
    plant: Callable[[], Plant]
    live: LiveBoard
    access: AccessPolicy
    clock: Callable[[], int]
    status: Callable[[], Sequence[Condition]] = no_conditions
    stopping: threading.Event = field(default_factory=threading.Event)
    registry: CollectorRegistry = field(default_factory=CollectorRegistry)
    rule: DecisionRule = field(default_factory=DecisionRule)
    data_dir: Path | None = None
    targets: Sequence[NotifyTarget] = ()
    tries: Throttle = field(default_factory=Throttle)
    host_tries: Throttle = field(default_factory=lambda: Throttle(HOST_FREE_TRIES))

    @cached_property
    def first(self) -> FirstStart:
        """Give what makes the first administrator."""
        return FirstStart(self.records.accounts.has_administrator)

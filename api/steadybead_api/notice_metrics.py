"""How notices fare as Prometheus metrics and as a condition; receivers are counted, never named."""

from collections.abc import Callable, Iterator, Sequence

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector as MetricSource

from steadybead_api.services import Condition
from steadybead_collector.notify.notifier import ReceiverStatus

Status = Callable[[], Sequence[ReceiverStatus]]


class NoticeMetrics(MetricSource):
    """Asks `status` at each scrape."""

    def __init__(self, status: Status) -> None:
        self._status = status

    def describe(self) -> Iterator[Metric]:
        """Name the metrics without asking."""
        yield from ()

    def collect(self) -> Iterator[Metric]:
        """Give the metrics of now."""
        found = self._status()
        for name, text, value in (
            ("receivers", "Receivers of notices in the plant file", len(found)),
            ("receivers_failing", "Receivers whose last attempt failed", failing(found)),
            ("notices_waiting", "Notices that are not delivered", sum(r.waiting for r in found)),
        ):
            yield GaugeMetricFamily(f"steadybead_{name}", text, value=float(value))
        for name, text, value in (
            ("notices_delivered", "Notices delivered since start", sum(r.delivered for r in found)),
            ("notices_failed", "Attempts that failed since start", sum(r.failed for r in found)),
        ):
            yield CounterMetricFamily(f"steadybead_{name}", text, value=float(value))


def failing(found: Sequence[ReceiverStatus]) -> int:
    """Count the receivers that did not take their last notice."""
    return sum(bool(r.fault) for r in found)


def receivers_condition(found: Sequence[ReceiverStatus]) -> Condition:
    """Say how receivers fare; a dead one is reported here, and makes nothing else unready."""
    dead = failing(found)
    if not dead:
        return Condition("receivers", True)
    return Condition(
        "receivers",
        True,
        f"{dead} of {len(found)} receivers take no notices: see the page on alarm quality",
    )

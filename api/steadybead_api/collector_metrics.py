"""The collector's state as Prometheus metrics, where it runs in this process."""

from collections.abc import Callable, Iterator

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector as MetricSource

from steadybead_collector.collector import CollectorStatus
from steadybead_collector.records.refusals import Quarantine
from steadybead_domain.ports import StoreError


class CollectorMetrics(MetricSource):
    """Asks `status` at each scrape."""

    def __init__(self, status: Callable[[], CollectorStatus]) -> None:
        self._status = status

    def describe(self) -> Iterator[Metric]:
        """Name the metrics without asking: the collector may not have started."""
        yield from ()

    def collect(self) -> Iterator[Metric]:
        """Give the metrics of now."""
        status = self._status()
        records = CounterMetricFamily(
            "steadybead_collector_records", "Records taken in, by outcome", labels=["outcome"]
        )
        for outcome, number in sorted(status.counts.items()):
            records.add_metric([outcome], number)
        yield records
        for name, text, value in (
            ("queue_messages", "Messages that wait for their commit", status.queue_length),
            ("lag_seconds", "How long the oldest message has waited", status.lag_s),
            ("subscribed", "1 while the broker has granted the subscriptions", status.subscribed),
            ("store_ok", "1 while the stores take what arrives", status.store_ok),
        ):
            yield GaugeMetricFamily(f"steadybead_collector_{name}", text, value=float(value))
        if status.clock_offset_s is not None:
            text = "Receipt less time of the newest reading, of the station furthest off"
            name = "steadybead_collector_clock_offset_seconds"
            yield GaugeMetricFamily(name, text, value=status.clock_offset_s)
        if status.broker_dropped is not None:
            text = "Messages that the broker says it has dropped since it started"
            name = "steadybead_collector_broker_dropped_messages"
            yield GaugeMetricFamily(name, text, value=float(status.broker_dropped))


class QuarantineMetrics(MetricSource):
    """Counts what lies in quarantine; says nothing while the records do not answer."""

    def __init__(self, quarantine: Quarantine) -> None:
        self._quarantine = quarantine

    def describe(self) -> Iterator[Metric]:
        """Name the metrics without asking."""
        yield from ()

    def collect(self) -> Iterator[Metric]:
        """Give the metrics of now."""
        try:
            rows, refused = self._quarantine.size()
        except StoreError:
            return
        text = "Different refusals kept in quarantine"
        yield GaugeMetricFamily("steadybead_quarantine_rows", text, value=float(rows))
        text = "Refused records that those rows stand for"
        yield GaugeMetricFamily("steadybead_quarantine_records", text, value=float(refused))

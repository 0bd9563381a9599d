"""The alarms' own quality of the last 24 h as Prometheus metrics; nothing of the shop is named."""

import threading
from collections.abc import Callable, Iterator

from prometheus_client.core import GaugeMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector as MetricSource

from steadybead_api.alarm_figures import Figures
from steadybead_domain.ports import StoreError
from steadybead_domain.times import SECOND

AFRESH = 30 * SECOND


class AlarmMetrics(MetricSource):
    """Asks for the figures at a scrape, at most twice a minute; gives none while it cannot know."""

    def __init__(self, figures: Callable[[], Figures], clock: Callable[[], int]) -> None:
        self._figures, self._clock = figures, clock
        self._lock = threading.Lock()
        self._known: tuple[int, Figures] | None = None

    def describe(self) -> Iterator[Metric]:
        """Name the metrics without asking."""
        yield from ()

    def collect(self) -> Iterator[Metric]:
        """Give the metrics of the last 24 h."""
        try:
            quality = self._fresh().quality
        except StoreError:
            return
        for name, text, value in (
            ("raised", "Alarms raised in the last 24 h", quality.raised),
            ("per_operator_hour", "Alarms per attended hour, last 24 h", quality.per_hour),
            ("flood_ratio", "Share of the last 24 h in flood", quality.flood_share),
            (
                "most_in_ten_minutes",
                "Most alarms in 10 min, last 24 h",
                quality.most_in_ten_minutes,
            ),
            ("chattering", "Conditions that chattered, last 24 h", len(quality.chattering)),
            ("standing", "Conditions that stood for 24 h or longer", len(quality.standing)),
        ):
            yield GaugeMetricFamily(f"steadybead_alarms_{name}", text, value=float(value))

    def _fresh(self) -> Figures:
        now = self._clock()
        with self._lock:
            if self._known is None or not 0 <= now - self._known[0] < AFRESH:
                self._known = (now, self._figures())
            return self._known[1]

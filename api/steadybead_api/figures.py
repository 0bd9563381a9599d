"""Readings as they were recorded, or with the calibrations in force now."""

from collections.abc import Iterator
from enum import StrEnum
from typing import Protocol

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_domain.calibration.recalibrate import read_recalibrated, recalibrated_buckets
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Buckets, Columns


class As(StrEnum):
    """Which figures: as they were recorded, or with later calibrations applied."""

    RECORDED = "recorded"
    RECALIBRATED = "recalibrated"


class Figures(Protocol):
    """What traces and summaries are read from; times are µs, intervals [start, end)."""

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time."""

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise in at most `points` equal buckets."""


class Recalibrated:
    """Reads from the store and corrects on the way; what is stored stays as it is."""

    def __init__(self, services: Services) -> None:
        self._readings = services.readings
        self._measuring = Measuring(services)

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings, recalibrated."""
        return read_recalibrated(self._readings, self._measuring.line(channel), start, end)

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise the recalibrated readings."""
        line = self._measuring.line(channel)
        return recalibrated_buckets(self._readings, line, start, end, points)


def figures(services: Services, wanted: As) -> Figures:
    """Give where to read the wanted figures from."""
    return Recalibrated(services) if wanted is As.RECALIBRATED else services.readings

"""Names of sites, stations, guns and channels, as they stand in MQTT topics and in the API."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Self, TypeVar

NAME = re.compile(r"[A-Za-z0-9_-]{1,64}")
GUN_PREFIX = "gun-"
T = TypeVar("T")


class BadNameError(ValueError):
    """A name that the topic contract does not allow."""


def checked_name(name: str, what: str) -> str:
    """Return `name` if it is 1 to 64 of `A-Z a-z 0-9 _ -`; raise BadNameError otherwise."""
    if NAME.fullmatch(name) is None:
        shown = name if len(name) <= 80 else name[:77] + "..."
        raise BadNameError(f"{what} {shown!r}: use 1 to 64 of A-Z a-z 0-9 _ -")
    return name


@dataclass(frozen=True, slots=True, order=True)
class StationId:
    """One air source and its guns; written `site/station`."""

    site: str
    station: str

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read `site/station`; raise BadNameError."""
        parts = text.split("/")
        if len(parts) != 2:
            raise BadNameError(f"station {text[:140]!r}: write site/station")
        return cls(checked_name(parts[0], "site"), checked_name(parts[1], "station"))

    def __str__(self) -> str:
        """Write `site/station`."""
        return f"{self.site}/{self.station}"


@dataclass(frozen=True, slots=True, order=True)
class ChannelId:
    """One measured quantity of a station; written `site/station/owner/what`."""

    site: str
    station: str
    channel: str

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read `site/station/channel-id`; raise BadNameError."""
        parts = text.split("/", 2)
        if len(parts) != 3:
            raise BadNameError(f"channel {text[:210]!r}: write site/station/channel-id")
        site, station, channel = parts
        return cls(
            checked_name(site, "site"), checked_name(station, "station"), checked_channel(channel)
        )

    @property
    def station_id(self) -> StationId:
        """Give the station that owns the channel."""
        return StationId(self.site, self.station)

    @property
    def gun(self) -> str | None:
        """Give the gun that owns the channel (`gun-a/…` gives `a`), None for the air source."""
        return _gun_of(self.channel)

    def __str__(self) -> str:
        """Write `site/station/channel-id`."""
        return f"{self.site}/{self.station}/{self.channel}"


def by_station(
    items: Iterable[T], channel_of: Callable[[T], ChannelId]
) -> dict[StationId, list[T]]:
    """Group what belongs to channels by station, in the order in which it comes."""
    found: dict[tuple[str, str], list[T]] = {}
    for item in items:
        channel = channel_of(item)
        found.setdefault((channel.site, channel.station), []).append(item)
    return {StationId(*names): own for names, own in found.items()}


@lru_cache(maxsize=4096)
def _gun_of(channel: str) -> str | None:
    owner = channel.split("/", 1)[0]
    return owner.removeprefix(GUN_PREFIX) if owner.startswith(GUN_PREFIX) else None


def checked_channel(text: str) -> str:
    """Return `text` if it is two names joined by one slash; raise BadNameError otherwise."""
    parts = text.split("/")
    if len(parts) != 2:
        raise BadNameError(f"channel {text[:140]!r}: write two names joined by one /")
    for part in parts:
        checked_name(part, "channel")
    return text

"""Who acts: a name and one role."""

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a person or a device may do; reading is allowed to every role."""

    VIEWER = "viewer"
    WELDER = "welder"
    MAINTENANCE = "maintenance"
    QUALITY = "quality"
    ADMINISTRATOR = "administrator"


@dataclass(frozen=True, slots=True)
class Actor:
    """The name that stands beside each act, and the role under which it was done."""

    name: str
    role: Role

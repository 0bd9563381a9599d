"""Who acts: a name and one role; accounts of people, their passwords and PINs."""

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 200
_NAME = re.compile(r"[^\s].{0,62}[^\s]|[^\s]")
_PIN = re.compile(r"[0-9]{4,8}")


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


@dataclass(frozen=True, slots=True)
class Account:
    """A person who may sign in by name. `closed` accounts stay listed, and cannot sign in."""

    id: int
    name: str
    role: Role
    created: int
    created_by: str
    has_password: bool
    has_pin: bool
    closed: bool = False

    @property
    def actor(self) -> Actor:
        """Give who acts when this person acts."""
        return Actor(self.name, self.role)


def name_key(name: str) -> str:
    """Give the form in which names are compared: two names of one look are one name."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def check_name(name: str) -> str:
    """Give the name as it is kept; ValueError if it cannot stand beside an act."""
    kept = " ".join(unicodedata.normalize("NFC", name).split())
    if not _NAME.fullmatch(kept) or not kept.isprintable():
        raise ValueError("a name has 1 to 64 printable characters")
    return kept


def check_password(password: str, name: str) -> str:
    """Give the password; ValueError if it is too easy.

    Length counts and nothing is prescribed of its letters, as NIST SP 800-63B advises (its
    minimum is 8; from memory).
    """
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise ValueError(
            f"a password has {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters;"
            " a few words in a row are good"
        )
    plain = name_key(password)
    if len(set(plain)) < 4 or (name_key(name) and name_key(name) in plain):
        raise ValueError("this password is too easy: not the name, not one letter again and again")
    return password


def check_pin(pin: str) -> str:
    """Give the PIN; ValueError if it is not 4 to 8 digits or one of the first to be tried."""
    if not _PIN.fullmatch(pin):
        raise ValueError("a PIN has 4 to 8 digits")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if steps in ({0}, {1}, {9}):
        raise ValueError("this PIN is too easy: not one digit again and again, not a row like 1234")
    return pin

"""One page of a long list."""

from dataclasses import dataclass
from typing import Generic, TypeVar

Item = TypeVar("Item")
Key = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Page(Generic[Item]):
    """Some items, and the key after which the next page begins (None: this was the last)."""

    items: list[Item]
    next: Key | None = None


def cut(items: list[Item], keys: list[Key], limit: int) -> Page[Item]:
    """Make a page of what was asked for with `limit` plus one rows."""
    if len(items) <= limit:
        return Page(items)
    return Page(items[:limit], keys[limit - 1])

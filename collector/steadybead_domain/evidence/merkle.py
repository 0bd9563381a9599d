"""Merkle trees after RFC 9162, section 2.1: root, inclusion path, and the root that a path gives.

Leaves are given as their hashes, SHA-256(0x00 || leaf); a node is SHA-256(0x01 || left || right).
"""

import hashlib
from collections.abc import Sequence

from steadybead_domain.errors import PlainError


class PathError(PlainError):
    """A path of hashes that cannot belong to its place in the tree."""


class Tree:
    """All levels of a tree over leaf hashes in order, for many paths."""

    def __init__(self, leaves: Sequence[bytes]) -> None:
        self._levels = [list(leaves)]
        while len(self._levels[-1]) > 1:
            level = self._levels[-1]
            paired = [_node(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
            self._levels.append(paired + level[len(level) - len(level) % 2 :])

    def __len__(self) -> int:
        """Count the leaves."""
        return len(self._levels[0])

    @property
    def root(self) -> bytes:
        """Give the root; without leaves, SHA-256 of the empty string."""
        top = self._levels[-1]
        return top[0] if top else hashlib.sha256(b"").digest()

    def path(self, place: int) -> list[bytes]:
        """Give the hashes that lead from a leaf to the root (RFC 9162, 2.1.3.1); PathError."""
        if not 0 <= place < len(self):
            raise PathError(f"there is no leaf {place} in a tree of {len(self)}")
        path: list[bytes] = []
        for level in self._levels[:-1]:
            if place ^ 1 < len(level):
                path.append(level[place ^ 1])
            place //= 2
        return path


def tree_hash(leaves: Sequence[bytes]) -> bytes:
    """Give the root of leaf hashes in order; of none, SHA-256 of the empty string."""
    return Tree(leaves).root


def root_of_path(leaf: bytes, place: int, size: int, path: Sequence[bytes]) -> bytes:
    """Give the root that a leaf's path leads to (RFC 9162, 2.1.3.2); PathError if it cannot."""
    if not 0 <= place < size:
        raise PathError(f"there is no leaf {place} in a tree of {size}")
    first, last, found = place, size - 1, leaf
    for sibling in path:
        if last == 0:
            raise PathError("the path is longer than the tree is high")
        if first % 2 or first == last:
            found = _node(sibling, found)
            while first and not first % 2:
                first, last = first // 2, last // 2
        else:
            found = _node(found, sibling)
        first, last = first // 2, last // 2
    if last:
        raise PathError("the path ends below the root")
    return found


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()

"""The saved state of a diagnosis, together with the human acts that it has seen."""

from dataclasses import dataclass

_MARK = b"steadybead-diagnosis "


@dataclass(frozen=True, slots=True)
class SavedState:
    """`changes`: position in the sequence of acts, weld events and procedures."""

    changes: int
    dump: bytes

    def to_bytes(self) -> bytes:
        """Write one line with the position, then the dump."""
        return _MARK + str(self.changes).encode() + b"\n" + self.dump

    @classmethod
    def from_bytes(cls, data: bytes) -> "SavedState | None":
        """Read what `to_bytes` wrote; None if it is something else."""
        head, separator, dump = data.partition(b"\n")
        number = head.removeprefix(_MARK)
        if not separator or number == head or not number.isdigit():
            return None
        return cls(int(number), dump)

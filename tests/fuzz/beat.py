"""What a fuzzing process is at: kept outside of it, so that it outlives the process's death."""

import mmap
import pickle
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Fed:
    """One input: its target's name in the table of targets, the engine, its own name."""

    target: str
    engine: str
    name: str
    given: Any

    @classmethod
    def read(cls, path: Path) -> "Fed":
        """Read what a run of ours has kept."""
        return cls(*pickle.loads(path.read_bytes()))  # noqa: S301


class Beat:
    """Writes, before an input is fed, which it is and how many there were."""

    def __init__(self, folder: Path, target: str, engine: str) -> None:
        self._place = target, engine
        self._input = (folder / "input").open("wb", buffering=0)
        with (folder / "beat").open("r+b") as file:
            self._count = mmap.mmap(file.fileno(), 8)

    def __call__(self, number: int, name: str, given: Any) -> None:
        self._input.seek(0)
        self._input.truncate()
        self._input.write(pickle.dumps((*self._place, name, given)))
        struct.pack_into("<q", self._count, 0, number)

    def close(self) -> None:
        self._input.close()
        self._count.close()


def begin(folder: Path) -> Path:
    """Make the file that counts; give its path."""
    path = folder / "beat"
    path.write_bytes(b"\0" * 8)
    return path


def count(folder: Path) -> int:
    """Tell how many inputs were fed, the last included."""
    return int(struct.unpack("<q", (folder / "beat").read_bytes())[0])


def rescue(folder: Path, kept: Path, seed: int) -> tuple[Path, Fed] | None:
    """Keep the input that a process died of; None if it died before the first."""
    if not count(folder):
        return None
    data = (folder / "input").read_bytes()
    kept.mkdir(parents=True, exist_ok=True)
    fed = Fed.read(folder / "input")
    path = kept / f"{fed.target}-{fed.engine}-{seed}-{count(folder)}.input"
    path.write_bytes(data)
    return path, fed

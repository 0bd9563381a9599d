"""The file beneath the database: made whole, found whole, or refused with a remedy."""

import os
import struct
from collections.abc import Callable
from pathlib import Path

from steadybead_domain.ports import StoreError

PAGE_SIZE = 4096
_MAGIC = b"SQLite format 3\0"
_WAL_HEADER = 32
_FRAME_HEADER = 24


def beside(path: Path, suffix: str) -> Path:
    """Name the file that SQLite keeps beside another: `-wal` or `-shm`."""
    return path.with_name(path.name + suffix)


def make_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let `write` make a file under another name, then move it into place; it is on disk then.

    Raises StoreError if a write-ahead log of another file lies there, which would be mixed in.
    """
    if beside(path, "-wal").exists():
        raise StoreError(
            f"there is {path.name}-wal in {path.parent} but no {path.name}: put that file back, or"
            " move the -wal file away as well"
        )
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    try:
        write(fresh)
        fresh.replace(path)
        sync_folder(path.parent)
    finally:
        fresh.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Make renames in a folder last."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_file(file: Path) -> None:
    """Make the content of a file last."""
    with file.open("rb+") as stream:
        os.fsync(stream.fileno())


def check_whole(path: Path) -> None:
    """Raise StoreError on a file that is no SQLite file or that was cut off."""
    with path.open("rb") as stream:
        head = stream.read(100)
    if head[:16] != _MAGIC[: len(head[:16])] or not head:
        what = "is empty" if not head else "is no SQLite file"
        raise StoreError(f"{path} {what}: move it away, then restore the newest backup")
    size = path.stat().st_size
    pages, valid = _page_count(head)
    if size >= pages * PAGE_SIZE and len(head) == 100:
        return
    missing = set(range(size // PAGE_SIZE + 1, pages + 1))
    if len(head) < 100 or (valid and not missing <= _pages_in_wal(beside(path, "-wal"))):
        raise StoreError(
            f"{path} was cut off ({size} bytes of {pages * PAGE_SIZE}): keep it, and restore the"
            " newest backup into another data folder"
        )


def _page_count(head: bytes) -> tuple[int, bool]:
    """Give the page count of a database header, and whether it may be trusted."""
    if len(head) < 100:
        return 0, False
    changes, pages = struct.unpack_from(">II", head, 24)
    (valid_for,) = struct.unpack_from(">I", head, 92)
    return pages, changes == valid_for


def _pages_in_wal(wal: Path) -> set[int]:
    """Name the pages that a write-ahead log still holds."""
    if not wal.exists():
        return set()
    pages = set()
    with wal.open("rb") as stream:
        head = stream.read(_WAL_HEADER)
        while len(frame := stream.read(_FRAME_HEADER)) == _FRAME_HEADER:
            if frame[8:16] != head[16:24]:  # a frame of an earlier round: its salt differs
                break
            pages.add(int.from_bytes(frame[:4], "big"))
            stream.seek(PAGE_SIZE, os.SEEK_CUR)
    return pages

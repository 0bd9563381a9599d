"""Small disks of the harness's own, which it fills, cuts off and makes read-only. Needs root."""

import contextlib
import fcntl
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

_SHUTDOWN = 0x8004587D  # EXT4_IOC_SHUTDOWN, _IOR('X', 125, __u32) of linux/ext4.h
_WITHOUT_LOG = 2  # EXT4_GOING_FLAGS_NOLOGFLUSH: what was not synced is gone
_MIB = 2**20


def why_not() -> str | None:
    if os.geteuid() != 0:
        return "mounting needs root"
    if shutil.which("mkfs.ext4") is None or not Path("/dev/loop-control").exists():
        return "there is no mkfs.ext4 or no loop device"
    return None


def _do(*words: str) -> None:
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, timeout=60)


@contextlib.contextmanager
def in_memory(place: Path, size_mib: int) -> Iterator[Path]:
    """Mount a small disk in memory."""
    place.mkdir()
    _do("mount", "-t", "tmpfs", "-o", f"size={size_mib}m", "faults", str(place))
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=False, timeout=60)


def fill(place: Path, spare_bytes: int) -> Path:
    """Take all of the room but `spare_bytes`; give the file that takes it."""
    plug = place / "plug"
    room = os.statvfs(place)
    with plug.open("wb") as file:
        size = max(0, room.f_bavail * room.f_frsize - spare_bytes)
        with contextlib.suppress(OSError):
            os.posix_fallocate(file.fileno(), 0, max(1, size))
    return plug


class LoopDisk:
    """An ext4 file system in a file; `cut` ends it as a power cut would, `freeze` as a fault."""

    def __init__(self, folder: Path, size_mib: int = 256) -> None:
        self.image, self.place = folder / "disk.img", folder / "disk"
        self.place.mkdir()
        with self.image.open("wb") as file:
            file.truncate(size_mib * _MIB)
        _do("mkfs.ext4", "-q", "-F", str(self.image))
        self.mount()

    def mount(self, *, writable: bool = True) -> None:
        options = "loop,errors=remount-ro" + ("" if writable else ",ro")
        _do("mount", "-o", options, str(self.image), str(self.place))

    def cut(self) -> None:
        """Let nothing more reach the disk; what was not synced never does."""
        handle = os.open(self.place, os.O_RDONLY)
        try:
            fcntl.ioctl(handle, _SHUTDOWN, _WITHOUT_LOG.to_bytes(4, "little"))
        finally:
            os.close(handle)

    def freeze(self) -> None:
        """Make it read-only under those who write, as the kernel does when a disk fails."""
        subprocess.run(
            ["mount", "-o", "remount,abort", str(self.place)],
            check=False,
            stderr=subprocess.DEVNULL,
            timeout=60,
        )

    def unmount(self) -> None:
        _do("umount", str(self.place))

    def close(self) -> None:
        subprocess.run(["umount", "-l", str(self.place)], check=False, timeout=60)


@contextlib.contextmanager
def loop_disk(folder: Path) -> Iterator[LoopDisk]:
    disk = LoopDisk(folder)
    try:
        yield disk
    finally:
        disk.close()

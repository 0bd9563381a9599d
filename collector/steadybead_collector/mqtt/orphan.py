"""A broker that outlived an earlier run of ours: found by its pid file, checked, ended."""

import os
import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

_STEP_S = 0.02


def end_orphan(pid_file: Path, mark: str, patience_s: float = 5.0) -> bool:
    """End the process named in the pid file if `mark` stands in its command; True if it was.

    A pid that another program has by now is left alone. The pid file is removed.
    """
    pid = _read_pid(pid_file)
    found = pid is not None and mark in command_of(pid)
    if pid is not None and found:
        _end(pid, mark, patience_s)
    pid_file.unlink(missing_ok=True)
    return found


def command_of(pid: int) -> str:
    """Give the command line of a process, empty if there is none."""
    if sys.platform.startswith("linux"):
        try:
            return (
                Path(f"/proc/{pid}/cmdline")
                .read_bytes()
                .replace(b"\0", b" ")
                .decode(errors="replace")
            )
        except OSError:
            return ""
    ps = shutil.which("ps")
    if ps is None:
        return ""
    asked = subprocess.run(  # noqa: S603  a number is all that goes in
        [ps, "-o", "command=", "-p", str(pid)], capture_output=True, text=True, check=False
    )
    return asked.stdout


def _read_pid(pid_file: Path) -> int | None:
    try:
        pid = int(pid_file.read_text())
    except (OSError, ValueError):
        return None
    return pid if pid > 1 else None


def _end(pid: int, mark: str, patience_s: float) -> None:
    for number in (signal.SIGTERM, signal.SIGKILL):
        try:
            os.kill(pid, number)
        except ProcessLookupError:
            return
        if _gone(pid, mark, patience_s):
            return


def _gone(pid: int, mark: str, patience_s: float) -> bool:
    pause = threading.Event()
    for _ in range(int(patience_s / _STEP_S)):
        if mark not in command_of(pid):
            return True
        pause.wait(_STEP_S)
    return False

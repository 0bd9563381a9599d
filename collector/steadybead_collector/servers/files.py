"""Files that hold a secret: made once, private, whole or not at all."""

import os
import secrets
from pathlib import Path

_BYTES = 32


def write_once(path: Path, text: str) -> bool:
    """Write a private file unless it is there; tell whether it was written."""
    if path.exists():
        return False
    replace_private(path, text)
    return True


def replace_private(path: Path, text: str) -> None:
    """Write a private file in place of what was there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.new")
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)


def secret(path: Path) -> str:
    """Give the secret in a file, made now if there is none; letters that need no quoting."""
    write_once(path, secrets.token_urlsafe(_BYTES) + "\n")
    return path.read_text("utf-8").strip()

"""The shop's signing key: made at first use, kept in the data folder, readable by its owner."""

import contextlib
import os
import stat
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from steadybead_domain.errors import PlainError
from steadybead_domain.evidence.jws import decode, public_bytes, thumbprint

FOLDER: Final = "keys"
PRIVATE: Final = "evidence-key.pem"
PUBLIC: Final = "evidence-key.pub.pem"
_LARGEST: Final = 10_000
_OTHERS: Final = (ValueError, TypeError, UnsupportedAlgorithm)


class SigningKeyError(PlainError):
    """A key that cannot be used; the message says what to do."""


def signing_key(data_dir: Path) -> Ed25519PrivateKey:
    """Read the key; make it if there is none. Raises SigningKeyError with the remedy."""
    folder = data_dir / FOLDER
    path = folder / PRIVATE
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if not path.exists():
        _make(path)
    key = _read(path)
    public = folder / PUBLIC
    if not public.exists():
        public.write_bytes(public_pem(public_bytes(key)))
    return key


def public_pem(key: bytes) -> bytes:
    """Write a public key as others can read it."""
    return Ed25519PublicKey.from_public_bytes(key).public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )


def read_public(path: Path) -> bytes:
    """Read a public key, PEM or the base64url of its 32 bytes; SigningKeyError, OSError."""
    with path.open("rb") as file:
        text = file.read(_LARGEST)
    with contextlib.suppress(*_OTHERS):
        found = serialization.load_pem_public_key(text)
        if isinstance(found, Ed25519PublicKey):
            return found.public_bytes_raw()
    with contextlib.suppress(UnicodeDecodeError, PlainError):
        bare = decode(text.decode("ascii").strip())
        if len(bare) == 32:
            return bare
    raise SigningKeyError(f"{path}: is no Ed25519 public key: ask the shop for its {PUBLIC}")


def fingerprint(key: Ed25519PrivateKey) -> str:
    """Name the key as `verify` does."""
    return thumbprint(public_bytes(key))


def _make(path: Path) -> None:
    """Write a new key under another name, then link it into place: two at once make one."""
    pem = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(pem)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)


def _read(path: Path) -> Ed25519PrivateKey:
    if os.name == "posix" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise SigningKeyError(f"{path}: other users can read this key: run chmod 600 {path}")
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), None)
    except _OTHERS:
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise SigningKeyError(
            f"{path}: is no Ed25519 key: restore it from a backup, or move it away"
        )
    return key

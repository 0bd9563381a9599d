"""Ed25519 signatures in compact form (RFC 7515, RFC 8037), and what strict reading of them asks.

The last character of base64url has bits that no byte needs: a text that does not come back the
same when it is written again is refused, so that no bit of a token can change unseen.
"""

import base64
import hashlib
import json
from dataclasses import dataclass
from typing import Any

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from steadybead_domain.errors import PlainError

TYPE = "steadybead-statement"


class SignatureError(PlainError):
    """A token that is damaged, or signed by nobody who could be named."""


@dataclass(frozen=True, slots=True)
class Opened:
    """The payload of a token whose signature holds, and the key that made it."""

    payload: bytes
    key: bytes

    @property
    def fingerprint(self) -> str:
        """Name the signer: the thumbprint of the key."""
        return thumbprint(self.key)


def encode(data: bytes) -> str:
    """Write base64url without padding (RFC 7515, appendix C)."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def decode(text: str) -> bytes:
    """Read base64url strictly; raise SignatureError for what would be written otherwise."""
    try:
        data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except ValueError:
        data = None
    if data is None or encode(data) != text:
        raise SignatureError("the signature is no strict base64url")
    return data


def canonical(value: Any) -> bytes:
    """Write JSON in its canonical form (RFC 8785)."""
    return rfc8785.dumps(value)


def public_bytes(key: Ed25519PrivateKey) -> bytes:
    """Give the 32 bytes of the public key."""
    return key.public_key().public_bytes_raw()


def public_jwk(key: bytes) -> dict[str, str]:
    """Write a public key as a JSON Web Key (RFC 8037)."""
    return {"crv": "Ed25519", "kty": "OKP", "x": encode(key)}


def thumbprint(key: bytes) -> str:
    """Give the thumbprint of a public key (RFC 7638, RFC 8037 A.3)."""
    return encode(hashlib.sha256(canonical(public_jwk(key))).digest())


def sign(payload: bytes, key: Ed25519PrivateKey, header: dict[str, Any] | None = None) -> str:
    """Sign; without `header` it names algorithm, kind and public key."""
    head = _header(public_bytes(key)) if header is None else canonical(header)
    signing = f"{encode(head)}.{encode(payload)}"
    return f"{signing}.{encode(key.sign(signing.encode()))}"


def verify(token: str, key: bytes) -> bytes:
    """Give the payload of a token that `key` signed; raise SignatureError."""
    parts = token.split(".")
    if len(parts) != 3:
        raise SignatureError("the signature does not have its three parts")
    head, payload, signature = (decode(part) for part in parts)
    try:
        algorithm = json.loads(head)["alg"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise SignatureError("the signature's head cannot be read") from None
    if algorithm != "EdDSA":
        raise SignatureError("the signature is not made by Ed25519")
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, f"{parts[0]}.{parts[1]}".encode())
    except (InvalidSignature, ValueError):
        raise SignatureError("the signature does not hold") from None
    return payload


def open_token(token: str) -> Opened:
    """Check a token by the key that it names itself; whose key that is, is another question."""
    try:
        head = json.loads(decode(token.split(".", 1)[0]))
        key = decode(head["jwk"]["x"])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise SignatureError("the signature's head cannot be read") from None
    if len(key) != 32 or token.split(".", 1)[0] != encode(_header(key)):
        raise SignatureError("the signature's head is not of this kind")
    return Opened(verify(token, key), key)


def _header(key: bytes) -> bytes:
    return canonical({"alg": "EdDSA", "jwk": public_jwk(key), "typ": TYPE})

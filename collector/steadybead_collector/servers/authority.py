"""A certificate authority of the set-up's own, and the broker's certificate under it."""

import datetime as dt
import ipaddress
from collections.abc import Sequence
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from steadybead_collector.servers.files import write_once

VALID_FOR = dt.timedelta(days=3650)
_EARLIER = dt.timedelta(minutes=5)


def make_certificates(
    authority: Path, broker: Path, names: Sequence[str], now: dt.datetime
) -> None:
    """Make `ca.pem` in `authority`, `server.pem` and `server.key` in `broker`, unless all exist.

    The authority's key is never written: nothing else can be signed later. `names` are the host
    names and addresses under which stations reach the broker.
    """
    if (authority / "ca.pem").exists() and (broker / "server.key").exists():
        return
    ca_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    ca_name = _name("Steadybead broker authority")
    ca = (
        _builder(ca_name, ca_name, ca_key.public_key(), now)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .sign(ca_key, hashes.SHA256())
    )
    server = (
        _builder(_name(names[0]), ca_name, key.public_key(), now)
        .add_extension(x509.SubjectAlternativeName([_general(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(ca_key, hashes.SHA256())
    )
    for file in (broker / "server.key", broker / "server.pem", authority / "ca.pem"):
        file.unlink(missing_ok=True)  # a first start that was cut short left some of them
    pem = serialization.Encoding.PEM
    write_once(
        broker / "server.key",
        key.private_bytes(
            pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ).decode(),
    )
    write_once(broker / "server.pem", server.public_bytes(pem).decode())
    write_once(authority / "ca.pem", ca.public_bytes(pem).decode())


def names_missing(server: Path, names: Sequence[str]) -> list[str]:
    """List the names that a certificate, made at an earlier start, does not have. ValueError."""
    certificate = x509.load_pem_x509_certificate(server.read_bytes())
    known = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return [name for name in names if _general(name) not in known]


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: dt.datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now + VALID_FOR)
    )


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common[:64])])


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )

"""The front's own certificate: self-signed, made once, told by its fingerprint."""

from __future__ import annotations

import hashlib
import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

LIFE_D = 397
"""Days that a certificate holds: browsers want no more of one. [d] (memory)"""


@dataclass(frozen=True, slots=True)
class Certificate:
    """Where the certificate and its key are, and the SHA-256 fingerprint by which to know it."""

    cert: Path
    key: Path
    fingerprint: str


def certificate(folder: Path, names: Sequence[str], now: datetime | None = None) -> Certificate:
    """Return the certificate kept in a folder, made where there is none or it has ended.

    Parameters
    ----------
    folder : Path
    names : sequence of str
        Host names and addresses that a new one is made out to.
    now : datetime, optional
    """
    now = now or datetime.now(UTC)
    cert, key = folder / "certificate.pem", folder / "key.pem"
    if not (cert.exists() and key.exists() and _holds(cert, now)):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _make(cert, key, names, now)
    return Certificate(cert, key, fingerprint_of(cert.read_bytes()))


def fingerprint_of(pem: bytes) -> str:
    """Return the SHA-256 of a certificate as browsers show it: pairs of digits with colons."""
    found = x509.load_pem_x509_certificate(pem)
    digest = hashlib.sha256(found.public_bytes(serialization.Encoding.DER)).hexdigest().upper()
    return ":".join(digest[i : i + 2] for i in range(0, len(digest), 2))


def _holds(cert: Path, now: datetime) -> bool:
    try:
        found = x509.load_pem_x509_certificate(cert.read_bytes())
    except ValueError:
        return False
    return found.not_valid_before_utc <= now < found.not_valid_after_utc


def _make(cert: Path, key: Path, names: Sequence[str], now: datetime) -> None:
    secret = ec.generate_private_key(ec.SECP256R1())
    whose = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "this farm's own computer")])
    made = (
        x509.CertificateBuilder()
        .subject_name(whose).issuer_name(whose)
        .public_key(secret.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=LIFE_D - 1))
        .add_extension(x509.SubjectAlternativeName([_name(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(secret, hashes.SHA256())
    )  # fmt: skip
    pem = secret.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    key.unlink(missing_ok=True)
    with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(pem)
    cert.write_bytes(made.public_bytes(serialization.Encoding.PEM))


def _name(text: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        return x509.DNSName(text)

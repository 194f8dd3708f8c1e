"""The certificate of the phone's door: made at each start of the door, for one address, and gone with it.

Nobody vouches for it but the person who compares its fingerprint on both screens; so the phone's browser warns once.
"""

from __future__ import annotations

import secrets
import ssl
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

VALID = timedelta(days=3)
"""For how long it holds; longer than anybody leaves the program open."""
CLOCKS = timedelta(hours=12)
"""By how much the phone's clock may be behind."""


@dataclass(frozen=True)
class Certificate:
    """What the door shows, and what opens it."""

    tls: ssl.SSLContext
    """For the server; it alone holds the key."""
    fingerprint: str
    """SHA-256 of the certificate, in pairs of digits with colons, as browsers show it."""
    pem: bytes
    """The certificate without the key."""


def certificate_for(address: str) -> Certificate:
    """A new certificate for one address of this computer. Its key never lies readable on the disk."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Silhouette on this computer")])
    now = datetime.now(UTC).replace(microsecond=0)
    made = (
        x509.CertificateBuilder()
        .subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(now - CLOCKS).not_valid_after(now + VALID)
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address(address))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(True, *[False] * 8), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = made.public_bytes(serialization.Encoding.PEM)
    word = secrets.token_bytes(32).hex().encode()
    locked = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
                               serialization.BestAvailableEncryption(word))
    return Certificate(_context(pem + locked, word), made.fingerprint(hashes.SHA256()).hex(":").upper(), pem)


def _context(both: bytes, word: bytes) -> ssl.SSLContext:
    """The server's side of TLS. Its library reads keys from files only: from a private one that is removed at once, and
    that holds the key locked."""
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.minimum_version = ssl.TLSVersion.TLSv1_2
    with tempfile.TemporaryDirectory(prefix="silhouette-") as private:  # 0700
        path = Path(private) / "door.pem"
        path.touch(mode=0o600)
        path.write_bytes(both)
        tls.load_cert_chain(path, password=word)
    return tls

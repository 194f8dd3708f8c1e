"""The certificate of the phone's door is for one address, lasts days, and leaves no key behind."""

from __future__ import annotations

import hashlib
import socket
import ssl
import tempfile
import threading
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from silhouette.live.certificate import VALID, certificate_for

ADDRESS = "127.0.0.1"


def test_it_is_for_one_address_and_lasts_days() -> None:
    made = certificate_for("192.168.7.9")
    told = x509.load_pem_x509_certificate(made.pem)
    names = told.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(name.value) for name in names] == ["192.168.7.9"]
    assert told.not_valid_after_utc - told.not_valid_before_utc <= 2 * VALID
    assert isinstance(told.public_key(), ec.EllipticCurvePublicKey)
    assert not told.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert b"PRIVATE" not in made.pem


def test_every_start_has_its_own() -> None:
    one, other = certificate_for(ADDRESS), certificate_for(ADDRESS)
    assert one.fingerprint != other.fingerprint
    digits = one.fingerprint.split(":")
    assert len(digits) == 32 and bytes.fromhex("".join(digits)) == hashlib.sha256(
        ssl.PEM_cert_to_DER_cert(one.pem.decode())).digest()


def test_the_key_is_on_the_disk_for_a_moment_only_and_locked(
        monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    seen: list[tuple[int, int, bytes]] = []

    load = ssl.SSLContext.load_cert_chain

    def looking(self: ssl.SSLContext, path: Path, **more: bytes) -> None:
        seen.append((path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777, path.read_bytes()))
        load(self, path, **more)

    monkeypatch.setattr(ssl.SSLContext, "load_cert_chain", looking)
    certificate_for(ADDRESS)
    ((mode, folder, data),) = seen
    assert (mode, folder) == (0o600, 0o700)
    assert b"ENCRYPTED PRIVATE KEY" in data and b"BEGIN PRIVATE KEY" not in data and b"BEGIN EC" not in data
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("trusted", [True, False])
def test_who_has_the_certificate_is_sure_of_the_door(trusted: bool) -> None:
    made = certificate_for(ADDRESS)
    theirs = ssl.create_default_context(cadata=(made if trusted else certificate_for(ADDRESS)).pem.decode())
    with socket.create_server((ADDRESS, 0)) as door:
        def answer() -> None:
            line, _ = door.accept()
            try:
                with made.tls.wrap_socket(line, server_side=True) as safe:
                    safe.sendall(safe.recv(5))
            except (ssl.SSLError, ConnectionError):
                line.close()

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        with socket.create_connection(door.getsockname(), timeout=60) as line:
            if trusted:
                with theirs.wrap_socket(line, server_hostname=ADDRESS) as safe:
                    safe.sendall(b"hello")
                    assert safe.recv(5) == b"hello"
                    assert safe.version() in ("TLSv1.2", "TLSv1.3")
            else:
                with pytest.raises(ssl.SSLCertVerificationError):
                    theirs.wrap_socket(line, server_hostname=ADDRESS)
        thread.join(60)

"""A certificate made on this machine, so that a phone on the same network gets the page over TLS.

Browsers give a page the device's position only over TLS. Nobody but this machine vouches for the
certificate, so the browser warns once; the SHA-256 fingerprint printed beside the link is what to
compare its details with. The key never leaves the folder it is made in.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from cryptography import x509

_VALID: Final = dt.timedelta(days=30)
_CERTIFICATE: Final = "entry-page.crt"
_KEY: Final = "entry-page.key"


@dataclass(frozen=True, slots=True)
class Certificate:
    """The two files a TLS server needs, and the fingerprint people compare."""

    certificate: Path
    key: Path
    fingerprint: str


def make_certificate(folder: Path, hosts: Sequence[str]) -> Certificate:
    """Make a self-signed certificate for names and addresses, or use one made before.

    One that still holds for a week and for all of ``hosts`` is used again, so that a phone that
    accepted it once is not asked again.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    folder.chmod(0o700)
    certificate, key = folder / _CERTIFICATE, folder / _KEY
    if _still_good(certificate, key, hosts):
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
    else:
        alternatives: list[x509.GeneralName] = []
        for host in hosts:
            try:
                alternatives.append(x509.IPAddress(ipaddress.ip_address(host)))
            except ValueError:
                alternatives.append(x509.DNSName(host))
        private = ec.generate_private_key(ec.SECP256R1())
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "lateral-map entry page")])
        now = dt.datetime.now(dt.UTC)
        found = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(name)
            .public_key(private.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - dt.timedelta(hours=1))
            .not_valid_after(now + _VALID)
            .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .sign(private, hashes.SHA256())
        )
        key.unlink(missing_ok=True)
        with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(
                private.private_bytes(
                    serialization.Encoding.PEM,
                    serialization.PrivateFormat.PKCS8,
                    serialization.NoEncryption(),
                )
            )
        certificate.write_bytes(found.public_bytes(serialization.Encoding.PEM))
    fingerprint = ":".join(f"{byte:02X}" for byte in found.fingerprint(hashes.SHA256()))
    return Certificate(certificate, key, fingerprint)


def _still_good(certificate: Path, key: Path, hosts: Sequence[str]) -> bool:
    from cryptography import x509

    if not (certificate.exists() and key.exists()):
        return False
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    soon = dt.datetime.now(dt.UTC) + dt.timedelta(days=7)
    named = {str(name.value) for name in names}
    return found.not_valid_after_utc > soon and set(hosts) <= named

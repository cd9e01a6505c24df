"""The certificate a shared page is served with."""

from __future__ import annotations

import datetime as dt
import ssl
import stat
from pathlib import Path

from cryptography import x509

from lateral_map.web.certificate import make_certificate


def test_the_certificate_names_its_hosts_and_its_key_is_private(tmp_path: Path) -> None:
    made = make_certificate(tmp_path / "keys", ["192.0.2.7", "yard.example"])
    found = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(name) for name in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7"]
    assert names.get_values_for_type(x509.DNSName) == ["yard.example"]
    assert found.not_valid_after_utc - found.not_valid_before_utc < dt.timedelta(days=32)
    assert not found.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.key.parent.stat().st_mode) == 0o700
    assert made.fingerprint.count(":") == 31
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.certificate, made.key)  # raises unless they belong together


def test_one_that_still_holds_is_used_again(tmp_path: Path) -> None:
    first = make_certificate(tmp_path, ["192.0.2.7"])
    assert make_certificate(tmp_path, ["192.0.2.7"]).fingerprint == first.fingerprint
    other = make_certificate(tmp_path, ["192.0.2.8"])
    assert other.fingerprint != first.fingerprint
    other.certificate.write_text("nonsense")
    assert make_certificate(tmp_path, ["192.0.2.8"]).fingerprint != other.fingerprint

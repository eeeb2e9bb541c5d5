"""Until when a certificate holds, held against what openssl says of it."""

from __future__ import annotations

import shutil
import ssl
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.domain.certificate import holds_until

pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl makes the certificates of these tests")


def made(folder: Path, *more: str) -> Path:
    path = folder / "cert.pem"
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-keyout",
        str(folder / "key.pem"),
        "-out",
        str(path),
    ]
    subprocess.run([*command, *more], check=True, capture_output=True)
    return path


@pytest.mark.parametrize(
    "more",
    [("-days", "2", "-subj", "/CN=localhost"),
     # After 2049 the time is written with four digits of the year (RFC 5280, 4.1.2.5).
     ("-days", "20000", "-subj", "/CN=a far year/O=" + "x" * 60, "-addext", "subjectAltName=IP:127.0.0.1,DNS:room.example")],
    ids=["two days", "55 years"],
)  # fmt: skip
def test_it_is_what_openssl_says(tmp_path: Path, more: tuple[str, ...]) -> None:
    path = made(tmp_path, *more)
    said = subprocess.run(
        ["openssl", "x509", "-in", str(path), "-noout", "-enddate"], check=True, capture_output=True, text=True
    )
    until = datetime.strptime(said.stdout.strip(), "notAfter=%b %d %H:%M:%S %Y GMT").replace(tzinfo=UTC)
    assert holds_until(ssl.PEM_cert_to_DER_cert(path.read_text())) == until


def test_what_is_no_certificate_is_refused(tmp_path: Path) -> None:
    der = ssl.PEM_cert_to_DER_cert(made(tmp_path, "-days", "2", "-subj", "/CN=x").read_text())
    for wrong in (b"", b"0", der[:40], der[:-1], b"\x30\x00", bytes(200), der[4:]):
        with pytest.raises(ValueError, match="no certificate"):
            holds_until(wrong)

"""A self-made certificate for the local network.

Browsers record sound only on secure pages. A certificate made here is unknown to the phone, which asks once
whether to go on; the README says how to install it instead.
"""

from __future__ import annotations

import ipaddress
import socket
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

VALID = timedelta(days=397)  # the most that current browsers accept of a server's certificate
RENEW = timedelta(days=30)


def own_certificate(folder: Path, *, names: list[str], now: datetime | None = None) -> tuple[Path, Path]:
    """Certificate and key for ``names`` (hosts, addresses) in ``folder``, made or renewed when needed."""
    now = now or datetime.now(UTC)
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    if certificate.exists() and key.exists() and _still_good(certificate, names, now):
        return certificate, key
    folder.mkdir(parents=True, exist_ok=True)
    private = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Voicecheck on the local network")])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))
        .not_valid_after(now + VALID)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    key.touch(mode=0o600, exist_ok=True)
    key.chmod(0o600)
    key.write_bytes(
        private.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return certificate, key


def own_names() -> list[str]:
    """What this machine is called on its network: host name, loopback, and the address it goes out with."""
    found = [socket.gethostname(), "localhost", "127.0.0.1"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing: only asks which address would be used
            found.append(str(probe.getsockname()[0]))
        except OSError:
            pass  # no network: loopback is all there is
    return list(dict.fromkeys(found))


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _still_good(certificate: Path, names: list[str], now: datetime) -> bool:
    try:
        made = x509.load_pem_x509_certificate(certificate.read_bytes())
        known = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    return made.not_valid_after_utc - now > RENEW and {_general(name) for name in names} <= set(known)

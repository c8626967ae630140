"""Makes a rig's certificates: an authority of its own, and a certificate for each machine's name and address.

X.509 version 3 (RFC 5280) with keys on the curve P-256. The authority's key stays where it was made; anyone who has it
can add machines. Valid certificates are left alone, so a machine can be added on the day of the show. An authority that
expires within thirty days is replaced, and with it all certificates that it has signed.
"""

from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path
from typing import Final, NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, EllipticCurvePrivateKey, generate_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from engine import durable_files
from engine.cluster.link.certificates import about_to_end, addresses_in, certificate_in, name_in
from engine.cluster.link.keyring import Keyring, keyring_in, others_can_read
from engine.cluster.link.link import LinkError
from engine.rig.models.network import Network, host_of

_YEARS: Final = timedelta(days=3650)  # of the authority and what it signs; nothing should expire during a tour
_AUTHORITY_KEY: Final = "authority.key"
_EARLIER: Final = timedelta(days=365)  # a small computer without a clock battery may be a year behind


class MadeCertificates(NamedTuple):
    """What became of one machine's folder."""

    machine: str
    folder: Path
    new: bool  # False: it was valid already
    ends: datetime


class _Authority(NamedTuple):
    certificate: x509.Certificate
    key: EllipticCurvePrivateKey


def make_keys(rig: str, network: Network, folder: Path, renew: bool = False) -> list[MadeCertificates]:
    """Make what is missing in `folder`, or with `renew` everything. Raises LinkError, OSError.

    `rig` is the rig's name, which becomes part of the authority's name.
    """
    authority = _authority(rig, folder, renew)
    return [_machine(name, network, folder, authority, renew) for name in network.machines]


def exposed_keys(network: Network, folder: Path) -> list[str]:
    """A warning for each key in `folder` that other users of this computer can read."""
    keys = (folder / _AUTHORITY_KEY, *(keyring_in(folder, name).key for name in network.machines))
    return [warning for key in keys if (warning := others_can_read(key)) is not None]


def _authority(rig: str, folder: Path, renew: bool) -> _Authority:
    """The existing one, or a new one."""
    certificate, key = folder / "authority.pem", folder / _AUTHORITY_KEY
    found = certificate_in(certificate)
    ends = found is not None and about_to_end(found)
    if certificate.exists() and not (renew or ends):
        return _authority_in(certificate, key)
    private = generate_private_key(SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Bayleaf, {rig}"[:64])])
    made = (
        _begun(name, name, private, datetime.now(UTC) + _YEARS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .sign(private, hashes.SHA256())
    )
    _write(folder, {certificate: _pem(made), key: _private_pem(private)})
    return _Authority(made, private)


def _authority_in(certificate: Path, key: Path) -> _Authority:
    found = certificate_in(certificate)
    try:
        private = serialization.load_pem_private_key(key.read_bytes(), None)
    except (OSError, ValueError):
        private = None
    if found is None or not isinstance(private, EllipticCurvePrivateKey) or found.public_key() != private.public_key():
        raise LinkError(
            f"{key} does not belong to {certificate}, so nothing can be signed; "
            "restore the key, or make all keys again with --renew"
        )
    return _Authority(found, private)


def _machine(name: str, network: Network, folder: Path, authority: _Authority, renew: bool) -> MadeCertificates:
    keyring = keyring_in(folder, name)
    host = host_of(network.machines[name].listen)
    certificate = certificate_in(keyring.certificate)
    if renew or certificate is None or not _fits(keyring, certificate, name, host, authority):
        certificate = _sign(name, host, keyring, authority)
        return MadeCertificates(name, keyring.key.parent, True, certificate.not_valid_after_utc)
    return MadeCertificates(name, keyring.key.parent, False, certificate.not_valid_after_utc)


def _fits(keyring: Keyring, certificate: x509.Certificate, name: str, host: IPv4Address, authority: _Authority) -> bool:
    """Whether a machine's files are for this name and address, signed by this authority, and not about to expire."""
    try:
        certificate.verify_directly_issued_by(authority.certificate)
        trusted = keyring.authority.read_bytes() == _pem(authority.certificate)
        private = serialization.load_pem_private_key(keyring.key.read_bytes(), None)
    except Exception:  # whatever is wrong with a file or a signature, a new one corrects it
        return False
    return (
        trusted
        and private.public_key() == certificate.public_key()
        and name_in(certificate) == name
        and host in addresses_in(certificate)
        and not about_to_end(certificate)
    )


def _sign(name: str, host: IPv4Address, keyring: Keyring, authority: _Authority) -> x509.Certificate:
    private = generate_private_key(SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    both = [ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.CLIENT_AUTH]
    made = (
        _begun(subject, authority.certificate.subject, private, authority.certificate.not_valid_after_utc)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage(both), critical=False)
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(host)]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    files = {keyring.authority: _pem(authority.certificate), keyring.certificate: _pem(made)}
    _write(keyring.key.parent, {**files, keyring.key: _private_pem(private)})
    return made


def _begun(
    subject: x509.Name, issuer: x509.Name, private: EllipticCurvePrivateKey, ends: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime.now(UTC) - _EARLIER)
        .not_valid_after(ends)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(private.public_key()), critical=False)
    )


def _usage(signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def _private_pem(private: EllipticCurvePrivateKey) -> bytes:
    return private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(folder: Path, files: dict[Path, bytes]) -> None:
    """Write files that only the user who runs this can read. A folder that exists already stays as it is."""
    folder.mkdir(0o700, parents=True, exist_ok=True)
    for file, content in files.items():
        durable_files.replace(file, content, 0o600)

"""What a machine's certificate says, and whether it will do."""

from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.x509.oid import NameOID

from engine.cluster.link.keyring import Keyring, folder_of, keyring_in
from engine.cluster.link.link import LinkError
from engine.rig.models.network import Network, host_of

_SOON: Final = timedelta(days=30)


def keys_of(network: Network, rig_file: Path) -> Keyring:
    """This machine's files, looked through. Raises LinkError with what is wrong with them and what to do."""
    me = network.machine
    keyring = keyring_in(folder_of(network, rig_file), me)
    remedy = (
        f"make it with: bayleaf network keys {rig_file}, and carry the folder {me} into {keyring.key.parent.parent}"
    )
    for file in (keyring.authority, keyring.certificate, keyring.key):
        if not file.is_file():
            raise LinkError(f"{file} is missing, without which {me} is no machine of this rig; {remedy}")
    certificate = certificate_in(keyring.certificate)
    if certificate is None or name_in(certificate) != me:
        raise LinkError(f"{keyring.certificate} is no certificate of {me}; {remedy}")
    listen = network.machines[me].listen
    if host_of(listen) not in addresses_in(certificate):
        raise LinkError(f"{keyring.certificate} is not for {listen}, the address of {me}; {remedy}")
    if certificate.not_valid_after_utc < datetime.now(UTC):
        raise LinkError(f"{keyring.certificate} ended on {certificate.not_valid_after_utc:%d %B %Y}; {remedy}")
    return keyring


def ends_soon(keyring: Keyring) -> datetime | None:
    """When a machine's certificate ends, if that is within thirty days."""
    certificate = certificate_in(keyring.certificate)
    if certificate is None or certificate.not_valid_after_utc > datetime.now(UTC) + _SOON:
        return None
    return certificate.not_valid_after_utc


def certificate_in(file: Path) -> x509.Certificate | None:
    """The certificate in a file, if there is one."""
    try:
        return x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        return None


def name_in(certificate: x509.Certificate) -> str:
    """The machine that a certificate is for."""
    names = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    return str(names[0].value) if names else ""


def addresses_in(certificate: x509.Certificate) -> list[IPv4Address | IPv6Address]:
    """The addresses that a certificate is for."""
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    return [ip_address(str(address)) for address in names.get_values_for_type(x509.IPAddress)]

"""Reads and checks a machine's certificate: its name, its addresses, its authority and its last day."""

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
    """This machine's files, checked. Raises LinkError with what is wrong and what to do."""
    me = network.machine
    keyring = keyring_in(folder_of(network, rig_file), me)
    remedy = f"make it with: bayleaf network keys {rig_file}, and copy the folder {me} into {keyring.key.parent.parent}"
    for file in (keyring.authority, keyring.certificate, keyring.key):
        if not file.is_file():
            raise LinkError(f"{file} is missing, so {me} cannot join the network of this rig; {remedy}")
    certificate = certificate_in(keyring.certificate)
    if certificate is None or name_in(certificate) != me:
        raise LinkError(f"{keyring.certificate} is not a certificate of {me}; {remedy}")
    listen = network.machines[me].listen
    if host_of(listen) not in addresses_in(certificate):
        raise LinkError(f"{keyring.certificate} is not for {listen}, the address of {me}; {remedy}")
    if certificate.not_valid_after_utc < datetime.now(UTC):
        raise LinkError(f"{keyring.certificate} expired on {certificate.not_valid_after_utc:%d %B %Y}; {remedy}")
    return keyring


def ends_soon(keyring: Keyring) -> datetime | None:
    """When a machine's certificate expires, if that is within thirty days."""
    certificate = certificate_in(keyring.certificate)
    if certificate is None or not about_to_end(certificate):
        return None
    return certificate.not_valid_after_utc


def about_to_end(certificate: x509.Certificate) -> bool:
    """Whether it expires within thirty days, or has expired."""
    return certificate.not_valid_after_utc <= datetime.now(UTC) + _SOON


def certificate_in(file: Path) -> x509.Certificate | None:
    """The certificate in a file; None if there is none."""
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

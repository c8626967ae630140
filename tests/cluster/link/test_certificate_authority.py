"""A rig's certificates: what they contain, who may read them, and when they are replaced. (X.509: RFC 5280.)"""

import os
import stat
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509

from engine.cluster.link import certificate_authority
from engine.cluster.link.certificate_authority import exposed_keys, make_keys
from engine.cluster.link.certificates import certificate_in, keys_of
from engine.cluster.link.keyring import folder_of, keyring_in
from engine.cluster.link.link import LinkError
from engine.cluster.link.settings import settings_of, warnings_of
from engine.rig.models.rig import Rig
from engine.rig.read.load import read

TEXT = """\
format = 1
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "192.168.10.2:7410" }
box = { listen = "192.168.10.11:7410" }
[[scenes]]
number = 1
name = "One"
"""


@pytest.fixture
def rig() -> Rig:
    """Two machines on two computers."""
    return read(TEXT, "rig.toml")


def made(rig: Rig, folder: Path, renew: bool = False) -> dict[str, bool]:
    """Make keys; return the machines with new ones."""
    assert rig.network is not None
    return {each.machine: each.new for each in make_keys("Pit", rig.network, folder, renew)}


def certificate(folder: Path, machine: str) -> x509.Certificate:
    """The certificate of this machine."""
    found = certificate_in(keyring_in(folder, machine).certificate)
    assert found is not None
    return found


def test_a_certificate_is_for_one_machine_at_one_address(rig: Rig, tmp_path: Path) -> None:
    """Each machine's certificate has its name and address, is signed by the rig's own authority, and serves both ends
    of a link
    (RFC 5280 4.2.1.6 and 4.2.1.12)."""
    made(rig, tmp_path)
    authority = certificate_in(tmp_path / "authority.pem")
    assert authority is not None
    for machine, address in (("desk", "192.168.10.2"), ("box", "192.168.10.11")):
        found = certificate(tmp_path, machine)
        found.verify_directly_issued_by(authority)
        assert found.subject.rfc4514_string() == f"CN={machine}"
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        assert names.get_values_for_type(x509.IPAddress) == [ip_address(address)]
        assert not found.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
        usage = found.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
        assert {oid.dotted_string for oid in usage} == {"1.3.6.1.5.5.7.3.1", "1.3.6.1.5.5.7.3.2"}
    assert authority.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_only_the_user_reads_keys(rig: Rig, tmp_path: Path) -> None:
    """Whatever the user's umask is, nobody else may read a key or list a folder of keys."""
    before = os.umask(0)
    try:
        made(rig, tmp_path / "keys")
    finally:
        os.umask(before)
    for path in (tmp_path / "keys").rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600)


def test_what_is_in_order_stays(rig: Rig, tmp_path: Path) -> None:
    """Run again, nothing is made; a machine that was added, moved or lost its keys gets its own; `renew` makes all."""
    assert made(rig, tmp_path) == {"desk": True, "box": True}
    assert made(rig, tmp_path) == {"desk": False, "box": False}
    added = "left = { listen = '10.0.0.1:1' }\nbox ="
    moved = read(TEXT.replace("192.168.10.11", "192.168.10.12").replace("box =", added), "rig.toml")
    assert made(moved, tmp_path) == {"desk": False, "left": True, "box": True}
    keyring_in(tmp_path, "desk").key.unlink()
    assert made(moved, tmp_path) == {"desk": True, "left": False, "box": False}
    assert made(moved, tmp_path, renew=True) == {"desk": True, "left": True, "box": True}


def test_another_authority_s_are_replaced(rig: Rig, tmp_path: Path) -> None:
    """Certificates signed by another authority, such as ones copied in, are replaced."""
    made(rig, tmp_path / "one")
    made(rig, tmp_path / "other")
    (tmp_path / "one" / "box").rename(tmp_path / "was")
    (tmp_path / "other" / "box").rename(tmp_path / "one" / "box")
    assert made(rig, tmp_path / "one") == {"desk": False, "box": True}


def test_a_lost_authority_is_reported(rig: Rig, tmp_path: Path) -> None:
    """Without the authority's key nothing can be signed; the error says so, with the remedy."""
    made(rig, tmp_path)
    (tmp_path / "authority.key").unlink()
    with pytest.raises(LinkError, match=r"authority\.key does not belong to .*; restore the key, or .* --renew"):
        made(rig, tmp_path)
    assert made(rig, tmp_path, renew=True) == {"desk": True, "box": True}


@pytest.mark.parametrize("file", ["authority.pem", "box.pem", "box.key"])
def test_a_machine_without_its_keys_reports_the_remedy(rig: Rig, tmp_path: Path, file: str) -> None:
    """The error names the missing file, the command that makes it and the folder to copy."""
    made(rig, tmp_path / "rig.keys")
    (tmp_path / "rig.keys" / "box" / file).unlink()
    with pytest.raises(LinkError) as error:
        settings_of(rig.on("box"), tmp_path / "rig.toml")
    assert f"{file} is missing" in str(error.value)
    assert f"bayleaf network keys {tmp_path / 'rig.toml'}, and copy the folder box into" in str(error.value)


def test_a_wrong_certificate_is_reported(rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A certificate for another machine or address, or an expired one, is reported when the machine starts."""
    folder = tmp_path / "rig.keys"
    made(rig, folder)
    network = rig.on("box").network
    assert network is not None
    own = keyring_in(folder, "box").certificate
    good = own.read_bytes()
    own.write_bytes((folder / "desk" / "desk.pem").read_bytes())
    with pytest.raises(LinkError, match="is not a certificate of box"):
        keys_of(network, tmp_path / "rig.toml")
    own.write_bytes(b"nonsense")
    with pytest.raises(LinkError, match="is not a certificate of box"):
        keys_of(network, tmp_path / "rig.toml")
    own.write_bytes(good)
    moved = read(TEXT.replace("192.168.10.11", "192.168.10.12"), "rig.toml").on("box").network
    assert moved is not None
    with pytest.raises(LinkError, match=r"is not for 192\.168\.10\.12:7410, the address of box"):
        keys_of(moved, tmp_path / "rig.toml")
    monkeypatch.setattr(certificate_authority, "_YEARS", timedelta(days=-1))
    made(rig, folder, renew=True)
    with pytest.raises(LinkError, match="expired on"):
        keys_of(network, tmp_path / "rig.toml")


def test_an_end_that_is_near_is_reported_and_renewed(rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A certificate that expires within thirty days is reported at each start; the next `network keys` replaces it.

    Its authority expires on the same day, and is replaced as well."""
    with monkeypatch.context() as brief:
        brief.setattr(certificate_authority, "_YEARS", timedelta(days=20))
        made(rig, tmp_path / "rig.keys")
    assert "the certificate of desk expires on" in " ".join(warnings_of(rig, tmp_path / "rig.toml"))
    assert made(rig, tmp_path / "rig.keys") == {"desk": True, "box": True}
    assert warnings_of(rig, tmp_path / "rig.toml") == []
    assert certificate(tmp_path / "rig.keys", "box").not_valid_after_utc > datetime.now(UTC) + timedelta(days=3000)


@pytest.mark.parametrize("lost", ["authority.key", None])
def test_an_authority_that_is_about_to_expire_is_replaced_once(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: str | None
) -> None:
    """With it all certificates are new, also where its key is missing; after that they stay."""
    with monkeypatch.context() as brief:
        brief.setattr(certificate_authority, "_YEARS", timedelta(days=29))
        made(rig, tmp_path)
    before = (tmp_path / "authority.pem").read_bytes()
    if lost is not None:
        (tmp_path / lost).unlink()
    assert made(rig, tmp_path) == {"desk": True, "box": True}
    assert (tmp_path / "authority.pem").read_bytes() != before
    assert made(rig, tmp_path) == {"desk": False, "box": False}


def test_a_folder_that_exists_keeps_its_mode(tmp_path: Path) -> None:
    """With `keys = "."` the keys are beside the rig, in a folder that others may share."""
    rig = read(TEXT.replace('main = "desk"', 'main = "desk"\nkeys = "."'), "rig.toml")
    assert rig.network is not None
    tmp_path.chmod(0o2775)
    made(rig, folder_of(rig.network, tmp_path / "rig.toml"))
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o2775
    assert stat.S_IMODE((tmp_path / "authority.key").stat().st_mode) == 0o600


def test_a_key_that_others_can_read_is_reported(rig: Rig, tmp_path: Path) -> None:
    """At each start for a machine's own key, and whenever keys are made; a stick with FAT loses the mode."""
    folder = tmp_path / "rig.keys"
    made(rig, folder)
    assert rig.network is not None
    assert exposed_keys(rig.network, folder) == warnings_of(rig, tmp_path / "rig.toml") == []
    key = keyring_in(folder, "desk").key
    key.chmod(0o640)
    remedy = f"other users of this computer can read or change {key}; end that with: chmod 600 {key}"
    assert exposed_keys(rig.network, folder) == warnings_of(rig, tmp_path / "rig.toml") == [remedy]
    assert warnings_of(rig.on("box"), tmp_path / "rig.toml") == []
    (folder / "authority.key").chmod(0o604)
    assert len(exposed_keys(rig.network, folder)) == 2


def test_plain_links_are_warned_of(tmp_path: Path) -> None:
    """`plain = true` beyond the loopback needs no keys and is warned of at each start; on the loopback it is not."""
    text = TEXT.replace('main = "desk"', 'main = "desk"\nplain = true')
    plain = read(text, "rig.toml")
    assert '"tcp/192.168.10.2:7410"' in settings_of(plain, tmp_path / "rig.toml").config
    assert "anyone on this network can listen and play" in warnings_of(plain, tmp_path / "rig.toml")[0]
    loopback = read(text.replace("192.168.10", "127.0.0"), "rig.toml")
    assert warnings_of(loopback, tmp_path / "rig.toml") == []


def test_the_folder_is_beside_the_rig(rig: Rig) -> None:
    """Keys are in NAME-OF-RIG-FILE.keys beside the rig file, or where `keys` says, relative to that folder."""
    network = rig.network
    assert network is not None
    assert folder_of(network, Path("/shows/pit.toml")) == Path("/shows/pit.keys")
    elsewhere = network.model_copy(update={"keys": "../keys"})
    assert folder_of(elsewhere, Path("/shows/pit.toml")) == Path("/shows/../keys")

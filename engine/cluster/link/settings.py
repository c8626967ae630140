"""Makes the transport's configuration from a rig's `[network]`.

Found by measurement, and different from zenoh's own defaults: no multicast search, no listening address but the one in
the rig, one side dials, a link that is silent for 300 ms counts as gone, and a full one is closed after 100 ms instead
of dropping messages. Dialling is given up after 300 ms and tried again at most 200 ms later, so a machine is back half
a second after the network can reach it.
"""

import json
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from engine.cluster.link.access import access
from engine.cluster.link.keyring import Keyring, others_can_read
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import NEEDED, LinkError, LinkSettings
from engine.midi.byte_stream import LONGEST_SYSEX
from engine.rig.models.network import Network
from engine.rig.models.rig import Rig

LEASE_MS: Final = 300
#: bytes of a message: more than the largest rig file; a longer one does not arrive
LARGEST: Final = 5_242_880
LARGEST_WORD: Final = 65_536
LARGEST_EVENT: Final = LONGEST_SYSEX + 65_536
_OPEN_MS: Final = 300
_RETRY: Final = {"period_init_ms": 100, "period_max_ms": 200, "period_increase_factor": 1.5}
#: keep trying an address that this computer does not have yet (its cable is out) or a machine that is not there yet
_FOR_EVER: Final = {"timeout_ms": -1, "exit_on_failure": False, "retry": _RETRY}


def settings_of(rig: Rig, rig_file: Path) -> LinkSettings:
    """What this machine's link needs. Raises LinkError if its certificate is missing or not valid."""
    network = rig.network
    assert network is not None  # a rig of one machine joins nothing
    keyring = _keyring(network, rig_file)[0] if network.encrypted else None
    listen = network.machines[network.machine].listen
    return LinkSettings(network.machine, listen, network.encrypted, json.dumps(_config(rig.rig.name, network, keyring)))


def warnings_of(rig: Rig, rig_file: Path) -> list[str]:
    """Warnings for the player at each start, one sentence each."""
    network = rig.network
    if network is None:
        return []
    warnings = []
    if network.plain and not network.loopback:
        warnings.append(
            "the links of [network] are not encrypted: anyone on this network can listen and play; remove plain = true"
        )
    if network.encrypted:
        keyring, ends = _keyring(network, rig_file)
        if ends is not None:
            warnings.append(
                f"the certificate of {network.machine} expires on {ends:%d %B %Y}; renew it with: bayleaf network keys"
            )
        if (exposed := others_can_read(keyring.key)) is not None:
            warnings.append(exposed)
    return warnings


def _keyring(network: Network, rig_file: Path) -> tuple[Keyring, datetime | None]:
    """This machine's files, and when its certificate expires if that is soon."""
    try:
        from engine.cluster.link.certificates import ends_soon, keys_of
    except ImportError:
        raise LinkError(NEEDED) from None
    keyring = keys_of(network, rig_file)
    return keyring, ends_soon(keyring)


def _config(rig: str, network: Network, keyring: Keyring | None) -> dict[str, Any]:
    kind = "tcp" if keyring is None else "quic"
    mine, keys = network.machines[network.machine], NetworkKeys(rig)
    config: dict[str, Any] = {
        "mode": "peer",
        "listen": {"endpoints": [f"{kind}/{mine.listen}"], **_FOR_EVER},
        "connect": {
            "endpoints": [f"{kind}/{network.machines[name].listen}" for name in network.dials(network.machine)],
            **_FOR_EVER,
        },
        # a machine answers a multicast search if the rig says so, but links are made by dialling alone
        "scouting": {
            "multicast": {"enabled": network.discover, "autoconnect": {"peer": []}},
            "gossip": {"enabled": False},
        },
        "adminspace": {"enabled": False},
        "plugins_loading": {"enabled": False},
        "transport": _transport(keyring),
        # what a machine sends about itself: a lease or report, and a SysEx with what goes with it
        "low_pass_filter": [
            _limit("words", LARGEST_WORD, [f"{keys.root}/lease/**", f"{keys.root}/meter/**"]),
            _limit("events", LARGEST_EVENT, [f"{keys.root}/in/**"]),
        ],
    }
    if keyring is not None:
        config["access_control"] = access(rig, network)
    return config


def _limit(name: str, most: int, keys: list[str]) -> dict[str, Any]:
    """Messages under these keys that have more bytes than `most` are dropped when they arrive."""
    return {"id": name, "messages": ["put"], "flows": ["ingress"], "key_exprs": keys, "size_limit": most}


def _transport(keyring: Keyring | None) -> dict[str, Any]:
    block = {"wait_before_close": 100_000}  # µs
    link: dict[str, Any] = {
        "protocols": ["tcp" if keyring is None else "quic"],
        "tx": {
            "lease": LEASE_MS,
            "keep_alive": 4,
            "queue": {"size": {"real_time": 16}, "congestion_control": {"block": block}},
        },
        "rx": {"max_message_size": LARGEST},
    }
    if keyring is not None:
        link["tls"] = {
            "root_ca_certificate": str(keyring.authority),
            "listen_certificate": str(keyring.certificate),
            "listen_private_key": str(keyring.key),
            "connect_certificate": str(keyring.certificate),
            "connect_private_key": str(keyring.key),
            "enable_mtls": True,
            "verify_name_on_connect": True,
            "close_link_on_expiration": False,  # a show outlasts a certificate's last day
        }
    return {
        "unicast": {"open_timeout": _OPEN_MS, "accept_timeout": _OPEN_MS},
        "shared_memory": {"enabled": False},
        "link": link,
    }

"""From a rig's `[network]` to the transport's configuration.

Found by measurement, and different from zenoh's own defaults: nothing is looked for by multicast, nothing listens but
the address that the rig names, one side dials, a link that says nothing for 300 ms is gone, and a full one is closed
after 100 ms rather than letting messages fall. A try to dial ends after 300 ms and the next follows at most 200 ms
later: a machine is back half a second after the network knows the way to it.
"""

import json
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from engine.cluster.link.access import access
from engine.cluster.link.keyring import Keyring
from engine.cluster.link.link import NEEDED, LinkError, LinkSettings
from engine.rig.models.network import Network
from engine.rig.models.rig import Rig

LEASE_MS: Final = 300
_OPEN_MS: Final = 300
_RETRY: Final = {"period_init_ms": 100, "period_max_ms": 200, "period_increase_factor": 1.5}
#: an address that this computer has not got yet (its cable is out), or a machine that is not there yet; nobody waits
_FOR_EVER: Final = {"timeout_ms": -1, "exit_on_failure": False, "retry": _RETRY}


def settings_of(rig: Rig, rig_file: Path) -> LinkSettings:
    """How the machine of a rig's `[network]` joins. Raises LinkError if its certificate is missing."""
    network = rig.network
    assert network is not None  # a rig of one machine joins nothing
    keyring = _keyring(network, rig_file)[0] if network.encrypted else None
    listen = network.machines[network.machine].listen
    return LinkSettings(network.machine, listen, network.encrypted, json.dumps(_config(rig.rig.name, network, keyring)))


def warnings_of(rig: Rig, rig_file: Path) -> list[str]:
    """What the player is told at each start, one sentence each."""
    network = rig.network
    if network is None:
        return []
    told = []
    if network.plain and not network.loopback:
        told.append(
            "the links of [network] are plain: whoever is on this net can listen and play; leave out plain = true"
        )
    if network.encrypted:
        _, ends = _keyring(network, rig_file)
        if ends is not None:
            told.append(
                f"the certificate of {network.machine} ends on {ends:%d %B %Y}; renew it with: bayleaf network keys"
            )
    return told


def _keyring(network: Network, rig_file: Path) -> tuple[Keyring, datetime | None]:
    """This machine's files, and when they end if that is soon."""
    try:
        from engine.cluster.link.certificates import ends_soon, keys_of
    except ImportError:
        raise LinkError(NEEDED) from None
    keyring = keys_of(network, rig_file)
    return keyring, ends_soon(keyring)


def _config(rig: str, network: Network, keyring: Keyring | None) -> dict[str, Any]:
    kind = "tcp" if keyring is None else "quic"
    mine = network.machines[network.machine]
    config: dict[str, Any] = {
        "mode": "peer",
        "listen": {"endpoints": [f"{kind}/{mine.listen}"], **_FOR_EVER},
        "connect": {
            "endpoints": [f"{kind}/{network.machines[name].listen}" for name in network.dials(network.machine)],
            **_FOR_EVER,
        },
        # who is looked for by multicast answers; links are made by dialling alone
        "scouting": {
            "multicast": {"enabled": network.discover, "autoconnect": {"peer": []}},
            "gossip": {"enabled": False},
        },
        "adminspace": {"enabled": False},
        "plugins_loading": {"enabled": False},
        "transport": _transport(keyring),
    }
    if keyring is not None:
        config["access_control"] = access(rig, network)
    return config


def _transport(keyring: Keyring | None) -> dict[str, Any]:
    block = {"wait_before_close": 100_000}  # µs
    link: dict[str, Any] = {
        "protocols": ["tcp" if keyring is None else "quic"],
        "tx": {
            "lease": LEASE_MS,
            "keep_alive": 4,
            "queue": {"size": {"real_time": 16}, "congestion_control": {"block": block}},
        },
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

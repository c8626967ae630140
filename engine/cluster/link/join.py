"""Joins the network of a rig, or looks for machines on it. The transport is loaded only here, when it is needed."""

import errno
import socket
import sys
from collections.abc import Callable
from pathlib import Path

from engine.cluster.link.link import NEEDED, Link, LinkError, LinkSettings
from engine.cluster.link.settings import settings_of, warnings_of
from engine.rig.models.rig import Rig


def join(rig: Rig, rig_file: Path, say: Callable[[str], None]) -> Link:
    """Join; `say` gets warnings for the player. Blocks: call it in a thread. Raises LinkError."""
    for warning in warnings_of(rig, rig_file):
        say(warning)
    return open_link(settings_of(rig, rig_file))


def open_link(settings: LinkSettings) -> Link:
    """Join the network. Blocks: call it in a thread. Raises LinkError.

    The link itself keeps dialling machines that are away.
    """
    try:
        from engine.cluster.link.zenoh_link import ZenohLink
    except ImportError:
        raise LinkError(NEEDED) from None
    _check_address_is_free(settings)
    return ZenohLink(settings)


def _check_address_is_free(settings: LinkSettings) -> None:
    """Raise LinkError if another program uses this machine's address: the link itself would wait for ever."""
    host, _, port = settings.listen.rpartition(":")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM if settings.encrypted else socket.SOCK_STREAM) as probe:
        if not settings.encrypted and sys.platform != "win32":  # or an address closed a moment ago would count as used
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, int(port)))
        except OSError as fault:
            if fault.errno == errno.EADDRINUSE:
                text = f"another program listens at {settings.listen} already; is {settings.machine} running here?"
                raise LinkError(text) from None


def find(seconds: float) -> list[str]:
    """The addresses of machines whose rig says `discover = true`, by multicast. Blocks. Raises LinkError."""
    try:
        from engine.cluster.link.zenoh_link import scout
    except ImportError:
        raise LinkError(NEEDED) from None
    return scout(seconds)

"""How a machine joins the network of its rig, or looks for others; only here the transport is loaded."""

import errno
import socket
import sys
from collections.abc import Callable
from pathlib import Path

from engine.cluster.link.link import NEEDED, Link, LinkError, LinkSettings
from engine.cluster.link.settings import settings_of, warnings_of
from engine.rig.models.rig import Rig


def join(rig: Rig, rig_file: Path, say: Callable[[str], None]) -> Link:
    """`say` gets what is to be known of it. Blocks: call it in a thread. Raises LinkError."""
    for warning in warnings_of(rig, rig_file):
        say(warning)
    return open_link(settings_of(rig, rig_file))


def open_link(settings: LinkSettings) -> Link:
    """Join the network. Blocks: call it in a thread. Raises LinkError.

    Machines that are away are dialled again and again by the link itself.
    """
    try:
        from engine.cluster.link.zenoh_link import ZenohLink
    except ImportError:
        raise LinkError(NEEDED) from None
    _see_that_it_is_free(settings)
    return ZenohLink(settings)


def _see_that_it_is_free(settings: LinkSettings) -> None:
    """Raise LinkError if another program has this machine's address, for which the link itself would wait for ever."""
    host, _, port = settings.listen.rpartition(":")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM if settings.encrypted else socket.SOCK_STREAM) as probe:
        if not settings.encrypted and sys.platform != "win32":  # else what has just been closed counts
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, int(port)))
        except OSError as fault:
            if fault.errno == errno.EADDRINUSE:
                text = f"another program listens at {settings.listen} already; is {settings.machine} running here?"
                raise LinkError(text) from None


def find(seconds: float) -> list[str]:
    """Look by multicast for machines whose rig says `discover = true`; their addresses. Blocks. Raises LinkError."""
    try:
        from engine.cluster.link.zenoh_link import scout
    except ImportError:
        raise LinkError(NEEDED) from None
    return scout(seconds)

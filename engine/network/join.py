"""How a machine joins the network of its rig."""

from collections.abc import Callable
from pathlib import Path

from engine.network.link import Link, open_link
from engine.network.settings import settings_of, warnings_of
from engine.rig.models import Rig


def join(rig: Rig, rig_file: Path, say: Callable[[str], None]) -> Link:
    """`say` gets what is to be known of it. Blocks: call it in a thread. Raises LinkError."""
    for warning in warnings_of(rig, rig_file):
        say(warning)
    return open_link(settings_of(rig, rig_file))

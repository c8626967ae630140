"""How a machine joins the network of its rig. What that needs is looked for only now: other rigs do without."""

from collections.abc import Callable
from pathlib import Path

from engine.network.link import NEEDED, Link, LinkError, open_link
from engine.rig.models import Rig


def join(rig: Rig, rig_file: Path, say: Callable[[str], None]) -> Link:
    """`say` gets what is to be known of it. Blocks: call it in a thread. Raises LinkError."""
    try:
        from engine.network.settings import settings_of, warnings_of
    except ImportError:
        raise LinkError(NEEDED) from None
    for warning in warnings_of(rig, rig_file):
        say(warning)
    return open_link(settings_of(rig, rig_file))

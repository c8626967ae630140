"""What is said when a JACK server is missing or has ended, and what must be closed before another one is joined."""

import weakref
from typing import Final, Protocol

from engine.ports.port import PortError

MISSING: Final = "the JACK server is not running; start it, or use --backend alsa"
STOPPED: Final = "the JACK server has stopped; its ports come back when it does"
CLOSED: Final = "the JACK ports are closed"


class OnJack(Protocol):
    """The ports on one server."""

    @property
    def stranded(self) -> bool:
        """Whether something is still open on a server that has stopped."""


#: all that still exist
_on_jack: Final[weakref.WeakSet[OnJack]] = weakref.WeakSet()


def join_all(system: OnJack) -> None:
    """This one exists now."""
    _on_jack.add(system)


def need_nothing_left_open() -> None:
    """Raise PortError if anything in this process is open on a server that has stopped.

    Once the library has failed to join a server, closing what is left of an earlier one may end the process.
    """
    if any(system.stranded for system in _on_jack):
        raise PortError("ports of a JACK server that has stopped are still open; close them first")

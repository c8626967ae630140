"""The one narrow interface to the network: what a link promises (`join` makes one).

`heard`, `changed` and `reply` are called in threads of the link, one call after another for each subscription. They
must be quick: append, poke, return. What they raise is counted in `faults` and stops nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from engine.user_error import UserError

#: what a player is told who has not installed them
NEEDED: Final = "a rig with a [network] needs the network parts; install them with: pip install 'bayleaf[network]'"

Heard = Callable[[str, bytes], None]  # key, payload
Changed = Callable[[str, bool], None]  # key, whether its token is there
Reply = Callable[[bytes], bytes]  # the question's payload -> the answer's


class LinkError(UserError):
    """The network cannot be joined; the text is one sentence for the player."""


@dataclass(frozen=True)
class LinkSettings:
    """What a link is made with: this machine's name and address, whether links are encrypted (QUIC, or else plain TCP),
    and the transport's configuration (JSON)."""

    machine: str
    listen: str
    encrypted: bool
    config: str


class Link(Protocol):
    """One machine's link to all others. What it says itself it does not hear."""

    lost: int  # messages that could not be handed on: a machine was too slow, or away
    faults: int  # calls of ours that raised

    def publish(self, key: str, payload: bytes, bulk: bool = False) -> None:
        """Hand on to whoever has subscribed to `key`, in order for each key; never blocks.

        `bulk`: long things, which notes may overtake.
        """

    def hint(self, key: str, payload: bytes) -> None:
        """Hand on what may be lost: lights and meters; never blocks."""

    def subscribe(self, key: str, heard: Heard) -> None:
        """Hear what others publish under a key or key expression."""

    def keep(self, key: str, payload: bytes) -> None:
        """Publish a state, and tell it to whoever joins later; never blocks. One thread for each key."""

    def subscribe_state(self, key: str, heard: Heard) -> None:
        """Hear the last of what others keep under this key, and what follows; never an older value after a newer one
        of the same machine."""

    def alive(self, key: str) -> None:
        """Put up a token; it is gone with this machine, its process or its cable."""

    def gone(self, key: str) -> None:
        """Take a token down. Any thread."""

    def watch(self, key: str, changed: Changed) -> None:
        """Hear which tokens of others under a key or key expression come and go; those that are there come first."""

    def present(self, key: str) -> list[str]:
        """The tokens under a key or key expression that are there now, ours left out. Blocks up to 0.3 s."""

    def answer(self, key: str, reply: Reply) -> None:
        """Answer questions to this key."""

    def ask(self, key: str, payload: bytes, timeout_s: float = 0.3) -> list[bytes]:
        """Ask whoever answers to this key; no answers if nobody does in time. Blocks: call it in a thread."""

    def close(self) -> None:
        """Leave the network: what waits is handed on, then tokens go. Blocks up to 2 s; again does nothing."""

"""The interface to the network: what a link to the other machines promises. `join.py` makes one.

`heard`, `changed` and `reply` are called in threads of the link, one call after another for each subscription. They
must be quick: append, wake the loop, return. An exception that they raise is counted in `faults` and stops nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from engine.user_error import UserError

#: for a player who has not installed them
NEEDED: Final = "a rig with a [network] needs the network parts; install them with: pip install 'bayleaf[network]'"

Heard = Callable[[str, bytes], None]  # key, payload
Changed = Callable[[str, bool], None]  # key, whether its token is there
Reply = Callable[[bytes], bytes | None]  # the question's payload -> the answer's; None for no answer
TooMuch = Callable[[], None]


def nothing() -> None:
    """Do nothing about it."""


class LinkError(UserError):
    """The network cannot be joined; the text is one sentence for the player."""


@dataclass(frozen=True)
class LinkSettings:
    """What a link needs: this machine's name and address, whether links are encrypted (QUIC) or plain (TCP), and the
    configuration of the transport (JSON)."""

    machine: str
    listen: str
    encrypted: bool
    config: str


class Link(Protocol):
    """One machine's link to all others. It does not receive what it has published itself."""

    lost: int  # messages that were not sent: a machine was too slow, or away
    faults: int  # calls of ours that raised

    def publish(self, key: str, payload: bytes, bulk: bool = False) -> None:
        """Send to all machines that have subscribed to `key`, in order for each key; never blocks.

        `bulk`: a long message, which notes may overtake.
        """

    def hint(self, key: str, payload: bytes) -> None:
        """Send what may be lost, such as meters; never blocks."""

    def subscribe(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        """Receive what others publish under a key or key expression.

        If more arrives under the key's folder than can be taken, `too_much` is called, in any thread, and what arrives
        in the next five seconds is left out. What is garbled on the way arrives as an empty payload.
        """

    def keep(self, key: str, payload: bytes) -> None:
        """Publish a state, also to machines that join later; never blocks. Call it from one thread for each key."""

    def subscribe_state(self, key: str, heard: Heard, too_much: TooMuch = nothing) -> None:
        """Receive the states that others keep under this key, now and when they change; never an older value after a
        newer one of the same machine. `too_much`: see `subscribe`."""

    def alive(self, key: str) -> None:
        """Show a token to the others. It disappears with this machine, its process or its network cable."""

    def gone(self, key: str) -> None:
        """Remove a token. Any thread."""

    def watch(self, key: str, changed: Changed) -> None:
        """Be called when tokens of others under a key or key expression come and go, first for those already there.

        If they come and go more often than can be taken, all of them count as gone for five seconds.
        """

    def present(self, key: str) -> list[str]:
        """The tokens of others under a key or key expression that are there now. Blocks up to 0.3 s."""

    def answer(self, key: str, reply: Reply) -> None:
        """Answer questions to this key."""

    def ask(self, key: str, payload: bytes, timeout_s: float = 0.3) -> list[bytes]:
        """Ask all machines that answer to this key; an empty list if none does in time. Blocks: call it in a thread."""

    def close(self) -> None:
        """Leave the network: send what waits, then remove the tokens. Blocks up to 2 s; a second call does nothing."""

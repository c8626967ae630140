"""The C extension's one type; its process thread in JACK never takes the interpreter's lock (client.h).

Ports go by place. Times are in ns of the monotonic clock. What is refused raises OSError; a missing library,
ImportError.
"""

from typing import final

@final
class Client:
    """A client of the running server, which never starts one."""

    def __new__(cls, name: str) -> Client: ...
    def open(self, is_output: bool, name: str) -> int:
        """Make a port of this name; its place."""
    def close_port(self, place: int) -> bool:
        """Send what waits there, for a few periods at most, and take the port away.

        False if the process thread is stuck: its memory is then kept.
        """
    def rename(self, place: int, name: str) -> None: ...
    def name(self, place: int) -> str:
        """The port's full name, whose client the server may have renamed."""
    def ports(self, playing: bool) -> list[str]:
        """The names of all MIDI ports that send, or of those that receive."""
    def connect(self, source: str, target: str) -> int:
        """Connect two ports by their names; 0, or the library's error number."""
    def connected(self, place: int, name: str) -> bool:
        """Whether this port is connected to the one of this name."""
    def read(self, place: int) -> list[tuple[int, bytes]]:  # one thread for each input
        """What has arrived, with the time of each, in the pieces that JACK has carried."""
    def send(self, place: int, message: bytes, at: int, /) -> bool:  # one thread for each output
        """Have this leave two periods after `at`, or as soon as may be if that is 0; False if there is no room."""
    def lost(self, place: int) -> int:
        """How many messages found no room, here or in the library."""
    def wait(self, seconds: float) -> None:  # one thread
        """Return when a message has come, the server has ended, or somebody rouses us."""
    def rouse(self) -> None: ...
    def close(self) -> None: ...
    def abandon(self) -> None:
        """Forget it as it is: the server is frozen, and closing would block."""
    @property
    def died(self) -> bool: ...
    @property
    def changes(self) -> int:
        """A count of ports and connections that came or went anywhere, of losses at inputs, and of the server's end."""
    @property
    def cycles(self) -> int: ...
    @property
    def missed(self) -> int:
        """How many of the server's periods passed without us."""
    @property
    def period(self) -> float:
        """Seconds."""

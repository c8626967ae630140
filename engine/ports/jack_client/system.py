"""All of JACK's MIDI ports through one client: listed, opened, connected, and joined again when the server is back."""

from collections.abc import Callable
from itertools import count
from typing import Final, TypeVar

from engine.plurals import counted
from engine.ports.jack_client.ports import JackInput, JackOutput
from engine.ports.jack_client.watched_client import WatchedJackClient
from engine.ports.jack_end import join_all, need_nothing_left_open
from engine.ports.port import PortError
from engine.ports.port_names import resolve

_Port = TypeVar("_Port", JackInput, JackOutput)

_CLIENT: Final = 58  # bytes of a client's name: 63, less what the server appends to one that is taken


class OneClientSystem:
    """A PortSystem on the JACK server; `client_name` is what other programs see."""

    def __init__(self, client_name: str) -> None:
        """Raises PortError if no server is running, or an earlier one's ports are still open."""
        self._name = client_name.replace(":", " ").encode()[:_CLIENT].decode(errors="ignore")
        self._ports: list[JackInput | JackOutput] = []  # those that may be open
        self._ours: tuple[str, ...] = ()  # how our ports' names begin, once there is one
        self._numbers = count(1)
        need_nothing_left_open()
        self._client = WatchedJackClient(self._name)
        join_all(self)

    @property
    def driver(self) -> str:
        """See PortSystem. What passed in a period that was missed is lost, and nobody knows what it was."""
        missed = self._client.native.missed
        return "JACK through one client" + (f", which missed {counted(missed, 'period')}" if missed else "")

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return self._theirs(playing=True)

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return self._theirs(playing=False)

    def open_input(self, pattern: str) -> JackInput:
        """See PortSystem."""
        return self._join(JackInput, resolve(pattern, self.inputs()))

    def open_output(self, pattern: str) -> JackOutput:
        """See PortSystem."""
        return self._join(JackOutput, resolve(pattern, self.outputs()))

    def open_virtual_input(self, name: str) -> JackInput:
        """See PortSystem."""
        return self._lend(JackInput, f"in:{name}")

    def open_virtual_output(self, name: str) -> JackOutput:
        """See PortSystem."""
        return self._lend(JackOutput, f"out:{name}")

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem: whoever makes a port waits for the server, and holds up nothing."""

    def refresh(self) -> None:
        """See PortSystem."""
        if not self._client.died and not self._client.closed:
            return
        if not self._open():
            self.close()
        need_nothing_left_open()
        self._client = WatchedJackClient(self._name)

    def close(self) -> None:
        """See PortSystem."""
        self._client.close()

    @property
    def stranded(self) -> bool:
        """See OnJack."""
        return self._client.died and (bool(self._open()) or not self._client.closed)

    def _open(self) -> list[JackInput | JackOutput]:
        return [port for port in self._ports if port.open]

    def _theirs(self, playing: bool) -> list[str]:
        self._client.check()
        try:
            return [name for name in self._client.native.ports(playing) if not name.startswith(self._ours)]
        except OSError as fault:
            raise PortError(str(fault)) from fault

    def _lend(self, kind: Callable[[str, WatchedJackClient, int, str | None], _Port], name: str) -> _Port:
        place, listed = self._make(kind is JackOutput, name)
        return self._note(kind(listed, self._client, place, None))

    def _join(self, kind: Callable[[str, WatchedJackClient, int, str | None], _Port], name: str) -> _Port:
        is_output = kind is JackOutput
        place, ours = self._make(is_output, f"{'out' if is_output else 'in'} {next(self._numbers)}")
        try:
            self._client.connect(place, *((ours, name) if is_output else (name, ours)))
        except PortError:
            self._client.take_away(place)
            raise
        return self._note(kind(name, self._client, place, name))

    def _make(self, is_output: bool, name: str) -> tuple[int, str]:
        place = self._client.open(is_output, name)
        listed = self._client.name(place)
        self._ours = (listed[: listed.index(":") + 1],)  # the server may have renamed our client
        return place, listed

    def _note(self, port: _Port) -> _Port:
        self._ports = [*self._open(), port]
        return port

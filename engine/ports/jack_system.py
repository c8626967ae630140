"""JACK's MIDI ports where `jack_client` is not compiled: python-rtmidi carries the messages.

A small client of our own lists, connects and watches them: python-rtmidi lists one port at a time, and holds the
interpreter's lock throughout; with sixty ports that is some five milliseconds without music.
"""

import contextlib
import re
from collections.abc import Callable, Iterator
from typing import Any, Final, TypeVar

import rtmidi

from engine.ports.driver_limits import LONGEST, jack_flow
from engine.ports.jack_client_pool import JackClient, JackClientPool
from engine.ports.jack_closing import JackClosing
from engine.ports.jack_end import join_all, need_nothing_left_open
from engine.ports.jack_server import JackServer
from engine.ports.port import PortError
from engine.ports.port_names import resolve
from engine.ports.port_presence import Joint, PortPresence
from engine.ports.rtmidi_port import RtmidiDevice, RtmidiInput, RtmidiOutput, make_device
from engine.ports.send_budget import SendBudget

_Port = TypeVar("_Port", RtmidiInput, RtmidiOutput)

_SUFFIX: Final = re.compile(r"-\d\d(?=:)")  # what the server appends to a client's name that is taken
_CLIENT: Final = 58  # bytes of a client's name: 63, less that suffix


class JackSystem:
    """A PortSystem on the JACK server; `client_name` is what other programs see."""

    driver = "JACK through python-rtmidi, a client for each port"

    def __init__(self, client_name: str) -> None:
        """Raises PortError if no server is running, or an earlier one's ports are still open."""
        if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api():
            raise PortError('the backend "jack" is not built into python-rtmidi on this system')
        self._client_name = client_name.replace(":", " ")
        self._open: dict[object, str] = {}  # our own open ports and what they are called in the lists
        self._sources = PortPresence(lambda: self._server.ports(playing=True))
        self._targets = PortPresence(lambda: self._server.ports(playing=False))
        need_nothing_left_open()
        self._join_server()
        join_all(self)

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._server.ports(playing=True))

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._server.ports(playing=False))

    def open_input(self, pattern: str) -> RtmidiInput:
        """See PortSystem."""
        name = resolve(pattern, self.inputs())
        with self._doubting():
            end = self._ends.plug_in(rtmidi.MidiIn, name)
        return self._note(self._input(name, self._joined(name, end, self._sources)), end.name)

    def open_output(self, pattern: str) -> RtmidiOutput:
        """See PortSystem."""
        name = resolve(pattern, self.outputs())
        with self._doubting():
            end = self._ends.plug_in(rtmidi.MidiOut, name)
        return self._note(self._output(name, self._joined(name, end, self._targets)), end.name)

    def open_virtual_input(self, name: str) -> RtmidiInput:
        """See PortSystem."""
        device, listed = self._lend(rtmidi.MidiIn, "in", name)
        return self._note(self._input(listed, RtmidiDevice(device, self._alive, self._drop)), listed)

    def open_virtual_output(self, name: str) -> RtmidiOutput:
        """See PortSystem."""
        device, listed = self._lend(rtmidi.MidiOut, "out", name)
        return self._note(self._output(listed, RtmidiDevice(device, self._alive, self._drop)), listed)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""
        with self._doubting():
            self._ends.prepare(inputs, outputs)

    def refresh(self) -> None:
        """See PortSystem."""
        if not self._server.died and not self._server.closed:
            return
        if not self._open:
            self.close()
        need_nothing_left_open()
        self._join_server()

    def close(self) -> None:
        """See PortSystem."""
        self._ends.close()
        self._closing.finish()
        self._server.close()

    @property
    def stranded(self) -> bool:
        """Whether something is still open on a server that has stopped."""
        return self._server.died and (bool(self._open) or not self._server.closed)

    def _join_server(self) -> None:
        self._server = JackServer(self._client("watch"))
        self._closing = JackClosing(self._server)
        self._ends = JackClientPool(
            self._server, lambda kind, part: self._make(kind, self._client(part)), self._closing.close
        )

    # Names

    def _client(self, part: str) -> str:
        """One client's name; each port of python-rtmidi is one."""
        return f"{self._client_name}-{part}".encode()[:_CLIENT].decode(errors="ignore")

    def _not_ours(self, names: list[str]) -> list[str]:
        lent = set(self._open.copy().values())  # a copy: the reader thread closes inputs that are gone
        return [name for name in names if name not in self._ends.names and _SUFFIX.sub("", name, count=1) not in lent]

    # Opening and closing ports

    def _make(self, kind: Any, client: str) -> Any:
        self._server.check()  # closing would crash later if this constructor failed
        try:
            return self._closing.make(lambda: make_device(kind, rtmidi.API_UNIX_JACK, client))
        except rtmidi.RtMidiError as fault:
            self._server.doubt()
            raise PortError(f"the JACK server does not answer ({fault})") from fault

    def _lend(self, kind: Any, part: str, name: str) -> tuple[Any, str]:
        """A virtual port: its rtmidi object, and what it is called in the lists."""
        client = self._client(f"{part}-{name.replace(':', ' ')}")
        device = self._make(kind, client)
        try:
            device.open_virtual_port(name)
        except rtmidi.RtMidiError as fault:
            self._server.doubt()
            self._closing.close(device)
            raise PortError(f'the port "{name}" could not be made ({fault})') from fault
        return device, f"{client}:{name}"

    def _joined(self, name: str, end: JackClient, presence: PortPresence) -> RtmidiDevice:
        return RtmidiDevice(end.device, self._joint_check(name, end, presence), self._pulling(end))

    def _input(self, name: str, device: RtmidiDevice) -> RtmidiInput:
        return RtmidiInput(name, device, self._server.period)

    def _output(self, name: str, device: RtmidiDevice) -> RtmidiOutput:
        budget = SendBudget(jack_flow(self._server.period), self._server.cycle)
        return RtmidiOutput(name, device, LONGEST["jack"], budget)

    def _note(self, port: _Port, own: str) -> _Port:
        self._open[port] = own
        return port

    def _pulling(self, end: JackClient) -> Callable[[object, Any], None]:
        server, ends = self._server, self._ends

        def let_go(port: object, _: Any) -> None:  # inputs: reader thread, outputs: loop
            if not server.died:
                ends.pull(end)
            self._open.pop(port, None)

        return let_go

    def _drop(self, port: object, device: Any) -> None:
        self._closing.close(device)
        self._open.pop(port, None)

    @contextlib.contextmanager
    def _doubting(self) -> Iterator[None]:
        try:
            yield
        except (PortError, rtmidi.RtMidiError) as fault:
            self._server.doubt()
            raise PortError(str(fault)) from fault

    # Whether ports are still there

    def _alive(self, now: int) -> None:
        self._server.check()

    def _joint_check(self, name: str, end: JackClient, presence: PortPresence) -> Callable[[int], None]:
        """A check that raises PortGone if the server has stopped, or if the port that we are connected to is gone."""
        server = self._server
        presence.forget()
        joint = Joint(name, presence, lambda: server.joined_to(name), end.name)

        def check(now: int) -> None:  # inputs: reader thread, outputs: loop
            server.check()
            joint.check(now)

        return check

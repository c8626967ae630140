"""The system's MIDI ports through python-rtmidi.

Callbacks lose messages while Python is busy and crash when a port closes; a send into a full JACK ring stops the whole
process; an object that was deleted must never be touched again. The rules here and in `systemport` keep clear of that.
"""

import contextlib
import os
import re
import threading
import weakref
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, Final

import rtmidi

from engine.ports import alsaclients
from engine.ports.jackends import End, Ends
from engine.ports.jackserver import JackServer
from engine.ports.limits import ALSA_FLOW, ALSA_INPUTS, LONGEST, jack_flow
from engine.ports.names import plain, resolve
from engine.ports.port import Flow, PortError
from engine.ports.presence import Joint, Presence
from engine.ports.room import Room
from engine.ports.systemport import QUEUE, SystemInput, SystemOutput

_APIS: Final = {
    "alsa": rtmidi.API_LINUX_ALSA,
    "jack": rtmidi.API_UNIX_JACK,
    "coremidi": rtmidi.API_MACOSX_CORE,
    "winmm": rtmidi.API_WINDOWS_MM,
}
_TRIES: Final = 3  # ports that come and go while one is opened
_LOOKS: Final = 20  # and while they are listed, which happens far more often
_ALSA_SEQUENCER: Final = "/dev/snd/seq"
_JACK_SUFFIX: Final = re.compile(r"-\d\d(?=:)")  # what the server adds to a client's name that is taken
_JACK_CLIENT: Final = 58  # bytes of a client's name: 63, less that suffix


class System:
    """A PortSystem on one of the system's own MIDI services; `client_name` is what other programs see."""

    def __init__(self, backend: str, client_name: str) -> None:
        """`backend`: alsa, jack, coremidi or winmm. Raises PortError if this system lacks it or it is not running."""
        self._backend = backend
        self._client_name = client_name.replace(":", " ")
        self._api = _APIS[backend]
        self._indexed = backend == "winmm"  # its names end in an index
        self._open: dict[object, str] = {}  # our own open ports and what they are called in the lists
        self._sources = Presence(lambda: self._names(self._in))
        self._targets = Presence(lambda: self._names(self._out))
        self._listing = threading.Lock()  # the reader thread looks while the loop lists or lets go
        self._in: Any = None
        self._out: Any = None
        self._server: JackServer | None = None
        self._ends: Ends | None = None  # on JACK
        if self._api not in rtmidi.get_compiled_api():
            raise PortError(f'the backend "{backend}" is not built into python-rtmidi on this system')
        if backend == "alsa":
            _need_sequencer()
        if backend == "jack":
            _need_nothing_left_open()
            self._server = JackServer(self._client("watch"))
            _on_jack.add(self)
        self._make_listers()

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._names(self._in))

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._names(self._out))

    def open_input(self, pattern: str) -> SystemInput:
        """See PortSystem."""
        self._check_inputs_left()
        name = resolve(pattern, self.inputs(), self._indexed)  # told at once, before a client is made for it
        if self._ends is not None:
            return self._plugged_in(self._ends, name)
        return self._input(*self._join(rtmidi.MidiIn, "in", pattern), self._sources)

    def open_output(self, pattern: str) -> SystemOutput:
        """See PortSystem."""
        name = resolve(pattern, self.outputs(), self._indexed)
        if self._ends is not None:
            return self._plugged_out(self._ends, name)
        return self._output(*self._join(rtmidi.MidiOut, "out", pattern), self._targets)

    def open_virtual_input(self, name: str) -> SystemInput:
        """See PortSystem."""
        self._check_inputs_left()
        return self._input(*self._lend(rtmidi.MidiIn, "in", name), None)

    def open_virtual_output(self, name: str) -> SystemOutput:
        """See PortSystem."""
        return self._output(*self._lend(rtmidi.MidiOut, "out", name), None)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""
        if self._ends is not None:
            with self._doubting():
                self._ends.prepare(inputs, outputs)

    def refresh(self) -> None:
        """See PortSystem."""
        if self._server is None or (self._in is not None and not self._server.died):
            return
        if not self._open:
            self.close()
        _need_nothing_left_open()
        self._server = JackServer(self._client("watch"))
        self._make_listers()

    def close(self) -> None:
        """See PortSystem."""
        ends, self._ends = self._ends, None
        if ends is not None:
            ends.close()
        with self._listing:
            listers, self._in, self._out = (self._in, self._out), None, None
            for lister in listers:
                if lister is not None:
                    lister.delete()
        if self._server is not None:
            self._server.close()

    @property
    def stranded(self) -> bool:
        """Whether something is still open on a server that has stopped."""
        held = bool(self._open) or self._in is not None
        return held and self._server is not None and self._server.died

    # Names

    def _client(self, part: str) -> str:
        """One client's name: on JACK each needs its own, elsewhere all ports may share the engine's."""
        if self._backend != "jack":
            return self._client_name
        return f"{self._client_name}-{part}".encode()[:_JACK_CLIENT].decode(errors="ignore")

    def _names(self, device: Any) -> list[str]:
        if self._server is not None:
            self._server.check()
        with self._listing:
            if device is None:
                raise PortError("the MIDI system is closed")
            for _ in range(_LOOKS):
                try:
                    names: list[str] = device.get_ports(encoding="utf-8")
                except rtmidi.InvalidPortError:
                    continue  # a port went between the count of them and its name
                return names
        raise PortError("ports come and go too fast to list them; try again")

    def _not_ours(self, names: list[str]) -> list[str]:
        ours = set(self._open.copy().values())  # a copy: the reader thread closes inputs that are gone
        ends = self._ends.names if self._ends is not None else ()
        return [name for name in names if name not in ends and self._as_we_call_it(name) not in ours]

    def _as_we_call_it(self, name: str) -> str:
        return _JACK_SUFFIX.sub("", name, count=1) if self._backend == "jack" else plain(name)

    # Making ports

    def _make_listers(self) -> None:
        try:
            self._in = self._make(rtmidi.MidiIn, self._client("list"))
            self._out = self._make(rtmidi.MidiOut, self._client("list"))
            if self._server is not None:
                self._ends = Ends(self._server, lambda kind, part: self._make(kind, self._client(part)))
        except PortError:
            self.close()
            raise

    def _make(self, kind: Any, client: str) -> Any:
        if self._server is not None:
            self._server.check()  # a constructor that fails makes later closing crash
        try:
            if kind is rtmidi.MidiOut:
                return kind(self._api, name=client)
            device = kind(self._api, name=client, queue_size_limit=QUEUE)
            device.ignore_types(False, False, False)
        except rtmidi.RtMidiError as fault:
            self._doubt()
            raise PortError(f"the {self._backend} MIDI system does not answer ({fault})") from fault
        return device

    def _lend(self, kind: Any, part: str, name: str) -> tuple[str, Any, str]:
        """A virtual port: its name, its rtmidi object, and what it is called in the lists."""
        client = self._client(f"{part}-{name.replace(':', ' ')}")
        device = self._make(kind, client)
        try:
            device.open_virtual_port(name)
        except rtmidi.UnsupportedOperationError as fault:
            self._drop(device)
            raise PortError(f"{self._backend} has no ports of our own making; name a port of the system") from fault
        except rtmidi.RtMidiError as fault:
            self._doubt()
            self._drop(device)
            raise PortError(f'the port "{name}" could not be made ({fault})') from fault
        return f"{client}:{name}", device, f"{client}:{name}"

    def _join(self, kind: Any, part: str, pattern: str) -> tuple[str, Any, str]:
        """The port's name, an rtmidi object that is connected to it, and what our end is called in the lists."""
        for _ in range(_TRIES):
            client = self._client(part)
            device = self._make(kind, client)
            try:
                names = self._names(device)
                name = resolve(pattern, self._not_ours(names), self._indexed)
                index = next(i for i, each in enumerate(names) if each is name)
                end = plain(name).replace(":", " ")
                self._connect(device, index, name, end)
                if self._names(device)[index : index + 1] == [name]:
                    return name, device, f"{client}:{end}"
            except PortError:
                self._drop(device)
                raise
            self._drop(device)  # ports came or went meanwhile, and this may be connected to another one
        raise PortError(f'ports come and go too fast to open "{pattern}"; try again')

    def _connect(self, device: Any, index: int, name: str, end: str) -> None:
        try:
            device.open_port(index, name=end)
        except (rtmidi.RtMidiError, ValueError) as fault:
            self._doubt()
            device.close_port()  # or the next use of it fails as well
            raise PortError(f'"{name}" could not be opened; is it in use by another program? ({fault})') from fault

    def _plugged_in(self, ends: Ends, name: str) -> SystemInput:
        end = self._plug(ends, rtmidi.MidiIn, name)
        return self._input(name, end.device, end.name, self._sources, lambda _: self._pull(ends, end))

    def _plugged_out(self, ends: Ends, name: str) -> SystemOutput:
        end = self._plug(ends, rtmidi.MidiOut, name)
        return self._output(name, end.device, end.name, self._targets, lambda _: self._pull(ends, end))

    def _plug(self, ends: Ends, kind: Any, name: str) -> End:
        with self._doubting():
            return ends.plug_in(kind, name)

    def _pull(self, ends: Ends, end: End) -> None:
        if self._server is not None and not self._server.died and ends is self._ends:
            ends.pull(end)

    def _input(
        self,
        name: str,
        device: Any,
        own: str,
        presence: Presence | None,
        drop: Callable[[Any], None] | None = None,
    ) -> SystemInput:
        port = SystemInput(name, device, self._checker(name, own, presence), self._letting_go(drop or self._drop))
        self._open[port] = own
        return port

    def _output(
        self,
        name: str,
        device: Any,
        own: str,
        presence: Presence | None,
        drop: Callable[[Any], None] | None = None,
    ) -> SystemOutput:
        flow = self._flow()
        room = Room(flow, self._server.cycle if self._server else None) if flow else None
        check = self._checker(name, own, presence)
        let_go = self._letting_go(drop or self._drop)
        port = SystemOutput(name, device, check, let_go, LONGEST.get(self._backend), room)
        self._open[port] = own
        return port

    def _flow(self) -> Flow | None:
        if self._server is not None:
            return jack_flow(self._server.period)
        return ALSA_FLOW if self._backend == "alsa" else None

    def _letting_go(self, drop: Callable[[Any], None]) -> Callable[[object, Any], None]:
        def let_go(port: object, device: Any) -> None:  # inputs: reader thread, outputs: loop
            drop(device)
            self._open.pop(port, None)

        return let_go

    def _drop(self, device: Any) -> None:
        if self._server is not None and self._server.died:
            return  # deleting it may hold the process for a second, or end it; its server has freed what there was
        device.delete()

    @contextlib.contextmanager
    def _doubting(self) -> Iterator[None]:
        try:
            yield
        except (PortError, rtmidi.RtMidiError) as fault:
            self._doubt()
            raise PortError(str(fault)) from fault

    def _doubt(self) -> None:
        if self._server is not None:
            self._server.doubt()

    # Whether ports are still there

    def _checker(self, name: str, own: str, presence: Presence | None) -> Callable[[int], None]:
        """What raises PortGone if the server has stopped, or if the port that we joined is gone."""
        alive = self._server.check if self._server else None
        joint = None
        if presence is not None:
            presence.forget()
            joint = Joint(name, presence, self._joined_to(name), own)

        def check(now: int) -> None:  # inputs: reader thread, outputs: loop
            if alive is not None:
                alive()
            if joint is not None:
                joint.check(now)

        return check

    def _joined_to(self, name: str) -> Callable[[], list[str]] | None:
        if self._server is not None:
            server = self._server
            return lambda: server.joined_to(name)
        return partial(alsaclients.joined_to, name) if self._backend == "alsa" else None

    def _check_inputs_left(self) -> None:
        held = sum(isinstance(port, SystemInput) for port in self._open.copy())
        if self._backend == "alsa" and held >= ALSA_INPUTS:
            raise PortError(f"ALSA has no room for more than {ALSA_INPUTS} inputs of one program; use fewer inputs")


#: every System on JACK that has not been thrown away
_on_jack: Final[weakref.WeakSet[System]] = weakref.WeakSet()


def _need_nothing_left_open() -> None:
    if any(system.stranded for system in _on_jack):
        raise PortError("ports of a JACK server that has stopped are still open; close them first")


def _need_sequencer() -> None:
    try:
        os.close(os.open(_ALSA_SEQUENCER, os.O_RDWR | os.O_NONBLOCK))
    except OSError:
        raise PortError(
            f"this system has no ALSA sequencer ({_ALSA_SEQUENCER}); load snd-seq, or use --backend jack"
        ) from None

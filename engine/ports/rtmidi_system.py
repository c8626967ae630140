"""The system's MIDI ports through python-rtmidi.

Callbacks lose messages while Python is busy and crash when a port closes; an object that was deleted must never be
used again. The rules here and in `rtmidi_port` avoid both. JACK has a module of its own, `jack_system`.
"""

import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import rtmidi

from engine.ports import alsa_descriptors
from engine.ports.alsa_clients import AlsaConnections
from engine.ports.driver_limits import ALSA_FLOW, ALSA_INPUTS, LONGEST
from engine.ports.port import NotRunning, PortError
from engine.ports.port_names import plain, resolve
from engine.ports.port_presence import Joint, PortPresence
from engine.ports.rtmidi_port import RtmidiDevice, RtmidiInput, RtmidiOutput, make_device
from engine.ports.send_budget import SendBudget

_APIS: Final = {
    "alsa": rtmidi.API_LINUX_ALSA,
    "coremidi": rtmidi.API_MACOSX_CORE,
    "winmm": rtmidi.API_WINDOWS_MM,
}
_NAMES: Final = {"alsa": "ALSA", "coremidi": "CoreMIDI", "winmm": "WinMM"}
_TRIES: Final = 3  # while ports come and go as one is opened
_LOOKS: Final = 20  # and as they are listed, which happens far more often
_ALSA_SEQUENCER: Final = alsa_descriptors.SEQUENCER


class NoSequencer(NotRunning):
    """Linux without the ALSA sequencer: its module is not loaded, or its device cannot be opened."""


@dataclass(frozen=True)
class _End:
    """Our end of a port: the port's name, the rtmidi object, what the lists call it, and where it can be watched."""

    name: str
    device: Any
    own: str
    descriptors: tuple[int, ...]


class RtmidiSystem:
    """A PortSystem on one of the system's own MIDI services; `client_name` is what other programs see."""

    def __init__(self, backend: str, client_name: str) -> None:
        """`backend`: alsa, coremidi or winmm. Raises PortError if this system lacks it or it is not running."""
        self.driver = f"{_NAMES[backend]} through python-rtmidi"
        self._backend = backend
        self._client_name = client_name.replace(":", " ")
        self._api = _APIS[backend]
        self._indexed = backend == "winmm"  # its names end in an index
        self._open: dict[object, str] = {}  # our own open ports and what they are called in the lists
        self._sources = PortPresence(lambda: self._names(self._in))
        self._targets = PortPresence(lambda: self._names(self._out))
        self._connections = AlsaConnections()
        self._listing = threading.Lock()  # the reader thread looks while the loop lists or closes
        self._in: Any = None
        self._out: Any = None
        if self._api not in rtmidi.get_compiled_api():
            raise PortError(f'the backend "{backend}" is not built into python-rtmidi on this system')
        if backend == "alsa":
            _need_sequencer()
        try:
            self._in, self._out = self._make(rtmidi.MidiIn)[0], self._make(rtmidi.MidiOut)[0]
        except PortError:
            self.close()
            raise

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._names(self._in))

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return self._not_ours(self._names(self._out))

    def open_input(self, pattern: str) -> RtmidiInput:
        """See PortSystem."""
        self._check_inputs_left()
        resolve(pattern, self.inputs(), self._indexed)  # fails early, before a client is made for it
        return self._input(self._join(rtmidi.MidiIn, pattern), self._sources)

    def open_output(self, pattern: str) -> RtmidiOutput:
        """See PortSystem."""
        resolve(pattern, self.outputs(), self._indexed)
        return self._output(self._join(rtmidi.MidiOut, pattern), self._targets)

    def open_virtual_input(self, name: str) -> RtmidiInput:
        """See PortSystem."""
        self._check_inputs_left()
        return self._input(self._lend(rtmidi.MidiIn, name), None)

    def open_virtual_output(self, name: str) -> RtmidiOutput:
        """See PortSystem."""
        return self._output(self._lend(rtmidi.MidiOut, name), None)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""

    def refresh(self) -> None:
        """See PortSystem."""

    def close(self) -> None:
        """See PortSystem."""
        with self._listing:
            listers, self._in, self._out = (self._in, self._out), None, None
            for lister in listers:
                if lister is not None:
                    lister.delete()

    # Names

    def _names(self, device: Any) -> list[str]:
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
        return [name for name in names if plain(name) not in ours]

    # Opening ports

    def _make(self, kind: Any) -> tuple[Any, tuple[int, ...]]:
        """An rtmidi object, and its descriptors (see WatchableInput)."""
        make = partial(make_device, kind, self._api, self._client_name)
        try:
            return alsa_descriptors.descriptors_of(make) if self._backend == "alsa" else (make(), ())
        except rtmidi.RtMidiError as fault:
            raise PortError(f"the {self._backend} MIDI system does not answer ({fault})") from fault

    def _lend(self, kind: Any, name: str) -> _End:
        """A virtual port."""
        device, descriptors = self._make(kind)
        try:
            device.open_virtual_port(name)
        except rtmidi.UnsupportedOperationError as fault:
            device.delete()
            raise PortError(f"{self._backend} has no virtual ports; name a port of the system") from fault
        except rtmidi.RtMidiError as fault:
            device.delete()
            raise PortError(f'the port "{name}" could not be made ({fault})') from fault
        return _End(f"{self._client_name}:{name}", device, f"{self._client_name}:{name}", descriptors)

    def _join(self, kind: Any, pattern: str) -> _End:
        """Our end of a connection to the one port that this pattern matches."""
        for _ in range(_TRIES):
            device, descriptors = self._make(kind)
            try:
                names = self._names(device)
                name = resolve(pattern, self._not_ours(names), self._indexed)
                index = next(i for i, each in enumerate(names) if each is name)
                end = plain(name).replace(":", " ")
                self._connect(device, index, name, end)
                if self._names(device)[index : index + 1] == [name]:
                    return _End(name, device, f"{self._client_name}:{end}", descriptors)
            except PortError:
                device.delete()
                raise
            device.delete()  # ports came or went meanwhile, and this may be connected to another one
        raise PortError(f'ports come and go too fast to open "{pattern}"; try again')

    def _connect(self, device: Any, index: int, name: str, end: str) -> None:
        try:
            device.open_port(index, name=end)
        except (rtmidi.RtMidiError, ValueError) as fault:
            device.close_port()  # or the next use of it would fail as well
            raise PortError(f'"{name}" could not be opened; is it in use by another program? ({fault})') from fault

    def _input(self, end: _End, presence: PortPresence | None) -> RtmidiInput:
        port = RtmidiInput(end.name, self._held(end, presence))
        self._open[port] = end.own
        return port

    def _output(self, end: _End, presence: PortPresence | None) -> RtmidiOutput:
        budget = SendBudget(ALSA_FLOW) if self._backend == "alsa" else None
        port = RtmidiOutput(end.name, self._held(end, presence), LONGEST.get(self._backend), budget)
        self._open[port] = end.own
        return port

    def _held(self, end: _End, presence: PortPresence | None) -> RtmidiDevice:
        return RtmidiDevice(end.device, self._checker(end.name, end.own, presence), self._let_go, end.descriptors)

    def _let_go(self, port: object, device: Any) -> None:  # inputs: reader thread, outputs: loop
        self._open.pop(port, None)
        device.delete()

    # Whether ports are still there

    def _checker(self, name: str, own: str, presence: PortPresence | None) -> Callable[[int], None]:
        """A check that raises PortGone if the port that we are connected to is gone; our own ports never are."""
        if presence is None:
            return lambda now: None
        presence.forget()
        self._connections.forget()
        joined_to = partial(self._connections.of, name) if self._backend == "alsa" else None
        return Joint(name, presence, joined_to, own).check  # inputs: reader thread, outputs: loop

    def _check_inputs_left(self) -> None:
        held = sum(isinstance(port, RtmidiInput) for port in self._open.copy())
        if self._backend == "alsa" and held >= ALSA_INPUTS:
            raise PortError(f"ALSA has room for at most {ALSA_INPUTS} inputs per program; use fewer inputs")


def _need_sequencer() -> None:
    try:
        os.close(os.open(_ALSA_SEQUENCER, os.O_RDWR | os.O_NONBLOCK))
    except OSError:
        raise NoSequencer(
            f"this system has no ALSA sequencer ({_ALSA_SEQUENCER}); load snd-seq, or use --backend jack"
        ) from None

"""Both sides of an engine: players, and boxes that sound, as plain python-rtmidi ports on JACK.

Each box is judged by a model of a receiving synth that knows nothing of the engine.
"""

import itertools
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import mido
import rtmidi

from tests.support.receiver import RESTS, Receiver
from tests.support.rtmidi_closing import close_safely
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK
MARKER = bytes((0xBF, 119))  # an undefined controller, on channel 16: nothing else uses it here
WITNESS = bytes((0xBF, 118, 1))  # another one, which never passes through the engine

#: while several clients of one process open at once, JACK 1.9.21 sometimes never wakes one of them (measured)
_opening = threading.Lock()


class Synth(Receiver):
    """A receiver that, if asked to, also heeds All Sound Off and All Notes Off (MIDI 1.0 Tables III and IV).

    It heeds them only after faults that leave it unknown what sounds: an engine killed, a cable out for a while.
    """

    heeds = False

    def hear(self, message: bytes) -> None:
        """One whole message."""
        super().hear(message)
        if self.heeds and message[0] & 0xF0 == 0xB0 and message[1] in (120, 123):
            for place in [place for place in self.sounding if place[0] == message[0] & 0x0F]:
                del self.sounding[place]

    def residue(self, sounds: dict[int, tuple[int, int, int]]) -> list[str]:
        """What is wrong: notes that sound, controls that are off rest, channels that are not on these sounds."""
        found = [f"sounds {place}" for place, count in self.sounding.items() if count]
        found += [f"off rest {place}" for place in self.off_rest]
        return found + [
            f"channel {channel + 1} on {self.sound.get(channel)}, not {sound}"
            for channel, sound in sounds.items()
            if self.sound.get(channel) != sound
        ]


def _open(port: Any, end: str, joins: str | None) -> Any:
    """A port of our own called `end`, or one connected to the only port of the system whose name ends in `joins`."""
    if joins is None:
        port.open_virtual_port(end)
        return port
    names = until(f"one {joins}", lambda: [name for name in port.get_ports() if name.endswith(f":{joins}")])
    port.open_port(port.get_ports().index(names[0]), end)
    return port


class Box:
    """A synth with one MIDI input, which can be unplugged or switched off and on. `thru`: where it sends what it hears.

    It has a port of its own, or connects to the port of the system whose name ends in `joins`.
    """

    def __init__(self, name: str, joins: str | None = None) -> None:
        self.name = name
        self._joins = joins
        self.synth = Synth()
        self.thru: Callable[[bytes], None] | None = None
        self.marked = -1
        self._witnessed = False
        self.lock = threading.RLock()
        self._port: Any = None
        self.plug()

    def plug(self) -> None:
        """Its cable is put in."""
        with _opening:
            port = rtmidi.MidiIn(JACK, name=self.name, queue_size_limit=8192)
            port.ignore_types(False, False, False)
            _open(port, "in", self._joins)
        with self.lock:
            self._port = port

    def pull(self) -> None:
        """Its cable is pulled out."""
        with self.lock:
            port, self._port = self._port, None
        if port is not None:
            with _opening:
                close_safely(port)

    def off(self) -> None:
        """It is switched off, and forgets everything."""
        self.pull()
        self.synth = Synth()

    def hears_a_witness(self) -> bool:
        """Whether it hears a sender other than the engine within two seconds."""
        with _opening:
            sender = rtmidi.MidiOut(JACK, name=f"{self.name} witness")
        try:
            places = [place for place, port in enumerate(sender.get_ports()) if port == f"{self.name}:in"]
            if not places:
                return False
            with _opening:
                sender.open_port(places[0], "out")
            self._witnessed, give_up = False, time.monotonic() + 2
            while not self._witnessed and time.monotonic() < give_up:
                sender.send_message(WITNESS)
                time.sleep(0.02)  # a box that hears does so within a few cycles
            return self._witnessed
        finally:
            with _opening:
                close_safely(sender)

    def listen(self) -> None:
        """Take in what has arrived."""
        with self.lock:
            while self._port is not None and (event := self._port.get_message()) is not None:
                message = bytes(event[0])
                if message[:2] == MARKER:
                    self.marked = message[2]
                self._witnessed |= message == WITNESS
                self.synth.hear(message)
                if self.thru is not None:
                    self.thru(message)


class Player:
    """A player: knows which keys are down, and what is to be released. `joins` as for a box."""

    def __init__(self, name: str, joins: str | None = None) -> None:
        self.name = name
        self._joins = joins
        self._lock = threading.RLock()
        self._down: Counter[tuple[int, int]] = Counter()
        self._rests: dict[bytes, bytes] = {}
        self._releases: dict[bytes, bytes] = {}  # of all that it has ever pressed or moved
        self._port: Any = None
        self.plug()

    def plug(self) -> None:
        """The cable is put in."""
        with _opening:
            port = _open(rtmidi.MidiOut(JACK, name=self.name), "out", self._joins)
        with self._lock:
            self._port = port

    def pull(self) -> None:
        """The cable is pulled out; the releases of what was held never arrive."""
        with self._lock:
            port, self._port = self._port, None
            self.lose_releases()
        if port is not None:
            with _opening:
                close_safely(port)

    def lose_releases(self) -> None:
        """All is released, and the releases are lost on their way."""
        with self._lock:
            self._down.clear()
            self._rests.clear()

    def play(self, message: bytes) -> None:
        """Play one message; it is lost while the cable is out."""
        with self._lock:
            if self._port is None:
                return
            self._note_key(message)
            self._note_rest(message)
            self._port.send_message(message)

    def copy(self, message: bytes) -> None:
        """Something comes out of this cable that was not played; where it leaves wheels, they count as the player's."""
        with self._lock:
            if self._port is not None:
                self._note_rest(message)
                self._port.send_message(message)

    def keys_up(self) -> None:
        """Every key is released."""
        with self._lock:
            for (channel, key), count in list(self._down.items()):
                for _ in range(count):
                    self.play(bytes((0x80 | channel, key, 64)))

    def hands_off(self) -> None:
        """Keys, pedals, wheels: all are released."""
        with self._lock:
            self.keys_up()
            for rest in list(self._rests.values()):
                self.play(rest)
            self._rests.clear()

    def hands_off_again(self) -> None:
        """What was released and lost on its way is released once more, whatever it was."""
        with self._lock:
            self.hands_off()
            for number, release in enumerate(list(self._releases.values())):
                self.copy(release)
                if number % 100 == 0:
                    time.sleep(0.002)  # a port takes some 2,000 messages at once, and then waits with Python's lock

    def _note_key(self, message: bytes) -> None:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind in (0x80, 0x90):
            place = (channel, message[1])
            self._releases[bytes((0x80, *place))] = bytes((0x80 | channel, message[1], 64))
            if kind == 0x90 and message[2]:
                self._down[place] += 1
            elif self._down[place]:
                self._down[place] -= 1

    def _note_rest(self, message: bytes) -> None:
        kind = message[0] & 0xF0
        if kind == 0xB0 and message[1] in RESTS:
            rest = bytes((*message[:2], RESTS[message[1]]))
        elif kind == 0xA0:
            rest = bytes((*message[:2], 0))
        elif kind == 0xD0:
            rest = bytes((message[0], 0))
        elif kind == 0xE0:
            rest = bytes((message[0], 0x00, 0x40))
        else:
            return
        name = rest[: 2 if kind in (0xA0, 0xB0) else 1]
        self._rests[name] = self._releases[name] = rest


def song(file: Path) -> list[bytes]:
    """A Standard MIDI File's messages in order, read by mido."""
    return [bytes(message.bytes()) for message in mido.MidiFile(file) if not message.is_meta]


class Song(threading.Thread):
    """Plays a song over and over at an even rate: even channels by one player, odd ones by the other."""

    def __init__(self, messages: Sequence[bytes], players: tuple[Player, Player], a_second: int) -> None:
        super().__init__(daemon=True)
        self._messages = messages
        self._players = players
        self._pause = 1 / a_second
        self._turn = threading.Lock()
        self._over = threading.Event()

    def run(self) -> None:
        """Play until `end`."""
        for message in itertools.cycle(self._messages):
            if self._over.wait(self._pause):
                return
            with self._turn:
                self._players[message[0] & 1].play(message)

    @contextmanager
    def paused(self) -> Iterator[None]:
        """The song pauses inside the block."""
        with self._turn:
            yield

    def end(self) -> None:
        """Stop; returns after the last message."""
        self._over.set()
        self.join()

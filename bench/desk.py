"""The players and instruments of the large rig in memory, with cables that can be pulled while they play.

A player plays the load of `load.py` over and over, at the rate it is given. An instrument takes what it is sent as a
receiver of MIDI 1.0 does, without any knowledge of the engine: which notes sound, what is off rest, its last program.
"""

import time
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from bench.load import INPUTS, OUTPUTS, RATE, WARM, messages
from engine.live.meters import Latency
from engine.live.show import Show
from engine.midi.byte_stream import StreamParser
from engine.ports.port import DriverFlow, PortError, PortGone


class Size(NamedTuple):
    """How many inputs and outputs there are, and the system's names for them, numbered from 1."""

    inputs: int
    outputs: int
    input_name: str
    output_name: str


SIZE: Final = Size(INPUTS, OUTPUTS, "in {}", "out {}")
#: resting values after RP-015
RESTS: Final = {1: 0, 11: 127, 64: 0}
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123
_SECOND: Final = 1_000_000_000
_GROUP: Final = 3  # messages of a press, its release and a controller


class Player:
    """An input: one cable's worth of messages, which arrive when they are polled."""

    stream = StreamParser()  # nothing of it needs repair

    def __init__(self, name: str, cycle: Sequence[bytes]) -> None:
        self.name = name
        self.rate = RATE  # messages per second
        self.resting = False  # releases what it holds, and plays no more
        self.gone = False
        self.played = 0
        self._cycle = cycle
        self._owed = 0  # billionths of messages
        self._polled_at = time.monotonic_ns()

    def poll(self) -> list[bytes]:
        """See InputPort."""
        if self.gone:
            raise PortGone(f'"{self.name}" was unplugged')
        now = time.monotonic_ns()
        self._owed += (now - self._polled_at) * self.rate
        self._polled_at = now
        count, self._owed = divmod(self._owed, _SECOND)
        count = min(
            count, 1 + self.rate // 20
        )  # after a long stall it does not catch up: drivers would lose the messages
        if self.resting:
            count = -self.played % _GROUP
        start = self.played % len(self._cycle)
        self.played += count
        found = list(self._cycle[start : start + count])
        while len(found) < count:
            found += self._cycle[: count - len(found)]
        return found

    def close(self) -> None:
        """See InputPort."""


class Ear:
    """A receiving instrument. It ignores All Notes Off, which a receiver may do (MIDI 1.0 p. 24).

    Only after its cable was out does it obey that and All Sound Off: it may have missed any release.
    """

    def __init__(self) -> None:
        self.sounding: dict[tuple[int, int], int] = {}  # (channel, key) -> presses
        self.off_rest: set[tuple[int, int]] = set()  # (channel, controller)
        self.sounds: dict[int, tuple[int, int, int]] = {}  # channel -> bank and program
        self._banks: dict[int, tuple[int, int]] = {}
        self._missed: set[int] = set()  # channels that have missed something

    def miss(self) -> None:
        """The cable was out."""
        self._missed = set(range(16))

    def hear(self, message: bytes) -> None:
        """One whole message."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            place = (channel, message[1])
            self.sounding[place] = self.sounding.get(place, 0) + 1
        elif kind in (0x80, 0x90):
            place = (channel, message[1])
            left = self.sounding.pop(place, 0) - 1
            if left > 0:
                self.sounding[place] = left
        elif kind == 0xB0:
            self._controller(channel, message[1], message[2])
        elif kind == 0xC0:
            self.sounds[channel] = (*self._banks.get(channel, (0, 0)), message[1])

    def _controller(self, channel: int, number: int, value: int) -> None:
        if number in RESTS:
            (self.off_rest.discard if value == RESTS[number] else self.off_rest.add)((channel, number))
        elif number == 0:
            self._banks[channel] = (value, 0)  # a new high byte zeroes the low byte (MIDI 1.0 p. 12)
        elif number == 32:
            self._banks[channel] = (self._banks.get(channel, (0, 0))[0], value)
        elif number in (ALL_SOUND_OFF, ALL_NOTES_OFF) and channel in self._missed:
            self._missed.discard(channel)
            self.sounding = {place: count for place, count in self.sounding.items() if place[0] != channel}


class Instrument:
    """An output: the cable to a receiving instrument."""

    flow: DriverFlow | None = None
    longest: int | None = None

    def __init__(self, name: str, ear: Ear) -> None:
        self.name = name
        self.gone = False
        self._hear = ear.hear

    def send(self, message: bytes, at: int = 0) -> None:
        """See OutputPort."""
        self.check()
        self._hear(message)

    def check(self) -> None:
        """See OutputPort."""
        if self.gone:
            raise PortGone(f'"{self.name}" was unplugged')

    def close(self) -> None:
        """See OutputPort."""


class Desk:
    """All of them, as a system of ports: "in 1", "in 2" …, "out 1", "out 2" …."""

    driver = "a desk"

    def __init__(self) -> None:
        self.players: dict[str, Player] = {}
        self._cycles = {f"in {source + 1}": messages(source, WARM) for source in range(INPUTS)}
        self._instruments: dict[str, Instrument] = {}
        self._ears = {f"out {index + 1}": Ear() for index in range(OUTPUTS)}
        self._pulled: set[str] = set()
        self._resting = False

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return [name for name in self._cycles if name not in self._pulled]

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return [name for name in self._ears if name not in self._pulled]

    def open_input(self, pattern: str) -> Player:
        """See PortSystem."""
        self._see(pattern, self.inputs())
        player = self.players[pattern] = Player(pattern, self._cycles[pattern])
        player.resting = self._resting
        return player

    def open_output(self, pattern: str) -> Instrument:
        """See PortSystem."""
        self._see(pattern, self.outputs())
        instrument = self._instruments[pattern] = Instrument(pattern, self._ears[pattern])
        return instrument

    def open_virtual_input(self, name: str) -> Player:
        """See PortSystem."""
        return self.open_input(name)

    def open_virtual_output(self, name: str) -> Instrument:
        """See PortSystem."""
        return self.open_output(name)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""

    def refresh(self) -> None:
        """See PortSystem."""

    def close(self) -> None:
        """See PortSystem."""

    def pull(self, name: str) -> None:
        """Pull the cable of this port."""
        self._pulled.add(name)
        if name in self.players:
            self.players[name].gone = True
        if name in self._instruments:
            self._instruments[name].gone = True
            self._ears[name].miss()

    def plug(self, name: str) -> None:
        """Put it back."""
        self._pulled.discard(name)

    def ears(self) -> list[Ear]:
        """The receivers of the instruments now connected, in their order."""
        return list(self._ears.values())

    def plug_all(self) -> None:
        """Plug in every cable that is out."""
        self._pulled.clear()

    def flood(self, source: int, rate: int) -> None:
        """From now on this input plays this many messages per second."""
        self.players[f"in {source + 1}"].rate = rate

    def rest(self) -> None:
        """All players release what they hold and play no more."""
        self._resting = True
        for player in self.players.values():
            player.resting = True

    def _see(self, name: str, there: Sequence[str]) -> None:
        if name not in there:
            raise PortError(f'there is no "{name}"')


class Choosy:
    """Takes the times of a show's messages, but not of some inputs: a flood's own messages may well be late."""

    def __init__(self, show: Show, take: Callable[[int], None]) -> None:
        """`take` takes each sample, in ns."""
        self._meters = show.ports.in_meters
        self._take = take
        self._passed: dict[int, int] = {}
        show.latency = Latency(self._add)

    def leave_out(self, source: int) -> None:
        """From now on messages of this input are not measured."""
        self._passed[source] = self._meters[source].messages

    def measure(self, source: int) -> None:
        """From now on they are again."""
        del self._passed[source]

    def _add(self, sample: int) -> None:
        for source, passed in self._passed.items():
            if (count := self._meters[source].messages) != passed:  # the show counts a message before it sends anything
                self._passed[source] = count
                return
        self._take(sample)

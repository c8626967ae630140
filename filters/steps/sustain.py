"""The step of `sustain`."""

from collections import Counter
from collections.abc import Iterable
from typing import Final

from engine.midi.controllers import LOCAL_CONTROL, MODE_MESSAGES, ON_FROM
from engine.midi.kinds import CONTROLLER, NOTE_OFF, is_press
from filters.registry import NEVER, Later, Step

_SUSTAIN, _SOSTENUTO = 64, 66
#: 121 lifts the pedals (RP-015), all others but local control end all notes (MIDI 1.0 Table IV)
_ENDING: Final = frozenset(MODE_MESSAGES) - {LOCAL_CONTROL}

_Key = int


class _Channel:
    """What one channel's pedals hold."""

    def __init__(self) -> None:
        self.sustained = self.catches = False  # the two pedals
        self.caught: set[_Key] = set()  # by the sostenuto pedal
        self.down: Counter[_Key] = Counter()  # presses whose keys are not up yet
        self.held: dict[_Key, list[bytes]] = {}  # releases that are kept back

    def play(self, message: bytes) -> tuple[bytes | Later, ...]:
        """A note-on or note-off."""
        key = message[1]
        if is_press(message):
            self.down[key] += 1
        elif self.down[key]:
            self.down[key] -= 1
            if self.sustained or key in self.caught:
                self.held.setdefault(key, []).append(message)
                return (Later(NEVER, message),)
        return (message,)

    def tread(self, pedal: int, down: bool, now: int) -> tuple[Later, ...]:
        """One of the two pedals; what comes up ends what it alone has held."""
        if pedal == _SUSTAIN:
            self.sustained = down
        elif down != self.catches:  # more values of a pedal that is down catch no more
            self.catches = down
            self.caught = {key for key, presses in self.down.items() if presses} if down else set()
        return self._ended(now)

    def reset(self, now: int) -> tuple[Later, ...]:
        """Both pedals count as up."""
        self.sustained = self.catches = False
        self.caught = set()
        return self._ended(now)

    def _ended(self, now: int) -> tuple[Later, ...]:
        if self.sustained:
            return ()
        ended = [key for key in self.held if key not in self.caught]
        return tuple(Later(now, release) for key in ended for release in self.held.pop(key))


def holding(positions: Iterable[bytes]) -> Step:
    """Remember for each channel the pedals, the keys that are down, and the releases that are kept back.

    `positions`: the last message of everything of the input that was moved.
    """
    channels = [_Channel() for _ in range(16)]
    for message in positions:  # the pedals may be down already
        if message[0] & 0xF0 == CONTROLLER and message[1] in (_SUSTAIN, _SOSTENUTO):
            channels[message[0] & 0x0F].tread(message[1], message[2] >= ON_FROM, 0)

    def sustain(message: bytes, now: int) -> tuple[bytes | Later, ...]:
        status = message[0]
        if status & 0xE0 == NOTE_OFF:  # note-off or note-on
            return channels[status & 0x0F].play(message)
        if status & 0xF0 != CONTROLLER:
            return (message,)
        number = message[1]
        if number in (_SUSTAIN, _SOSTENUTO):
            return channels[status & 0x0F].tread(number, message[2] >= ON_FROM, now)
        if number in _ENDING:
            return (message, *channels[status & 0x0F].reset(now))
        return (message,)

    return sustain

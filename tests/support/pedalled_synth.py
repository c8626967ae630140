"""A synth with a sustain and a sostenuto pedal, written from MIDI 1.0 without any knowledge of the filters.

MIDI 1.0 Detailed Specification 4.2.1 p. 20 (hold and sostenuto), Table III (on from 64), RP-015 (121 lifts pedals).
"""


class PedalledSynth:
    """What sounds on one channel of a keyboard whose keys are pressed once before they are released."""

    def __init__(self) -> None:
        self.sounding: set[int] = set()
        self._down: set[int] = set()
        self._caught: set[int] = set()
        self._hold = False
        self._sostenuto = False

    def hear(self, message: bytes) -> None:
        """One message of this channel."""
        kind = message[0] & 0xF0
        if kind == 0x90 and message[2]:
            self._down.add(message[1])
            self.sounding.add(message[1])
        elif kind in (0x80, 0x90):
            self._down.discard(message[1])
        elif kind == 0xB0 and message[1] == 64:
            self._hold = message[2] >= 64
        elif kind == 0xB0 and message[1] == 66:
            down = message[2] >= 64
            if down and not self._sostenuto:
                self._caught = set(self._down)
            elif not down:
                self._caught = set()
            self._sostenuto = down
        elif kind == 0xB0 and message[1] == 121:
            self._hold = self._sostenuto = False
            self._caught = set()
        if not self._hold:
            self.sounding &= self._down | self._caught

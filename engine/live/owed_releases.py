"""What an output missed while its cable was out: a note that sounded before and was let go of meanwhile.

Not every synth obeys All Notes Off (MIDI 1.0 p. 24), and one that kept its power still sounds what it sounded when the
cable was pulled; so each of its notes is owed its own release when the cable is back.
"""

from collections import Counter
from typing import Final

from engine.midi.kinds import NOTE_OFF, is_release

_MOST: Final = 16  # of one key: releases without presses are no reason to jam a slow cable for seconds


class OwedReleases:
    """Loop only. Outputs are indices."""

    def __init__(self) -> None:
        self._releases: dict[int, Counter[bytes]] = {}  # less the presses that were missed, too

    def note(self, output: int, message: bytes) -> None:
        """This message did not get through."""
        if message[0] & 0xE0 == NOTE_OFF:  # note-off or note-on
            release = bytes((NOTE_OFF | message[0] & 0x0F, message[1], 64))
            missed = self._releases.setdefault(output, Counter())
            missed[release] += 1 if is_release(message) else -1

    def owed(self, output: int) -> list[bytes]:
        """The releases, velocity 64 (MIDI 1.0 p. 10), that are to be sent now that the output is back."""
        missed = self._releases.pop(output, Counter())
        return [release for release, count in missed.items() for _ in range(min(count, _MOST))]

"""The releases that an output missed while its cable was out, to be sent when the cable is back.

Not every instrument obeys All Notes Off (MIDI 1.0 p. 24), and one that kept its power still sounds the notes that it
sounded when the cable was pulled. So each of these keys gets a release.
"""

from collections import Counter

from engine.midi.kinds import NOTE_OFF, is_release


class OwedReleases:
    """Loop only. Outputs are indices."""

    def __init__(self) -> None:
        self._releases: dict[int, Counter[bytes]] = {}  # minus the presses that were missed as well

    def note(self, output: int, message: bytes) -> None:
        """This message was not sent."""
        if message[0] & 0xE0 == NOTE_OFF:  # note-off or note-on
            release = bytes((NOTE_OFF | message[0] & 0x0F, message[1], 64))
            missed = self._releases.setdefault(output, Counter())
            missed[release] += 1 if is_release(message) else -1

    def owed(self, output: int) -> list[bytes]:
        """The releases to be sent now that the output is back, one a key, velocity 64 (MIDI 1.0 p. 10)."""
        return [release for release, count in self._releases.pop(output, Counter()).items() if count > 0]

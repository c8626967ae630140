"""The bank and program that each channel of an output was put on, so that what it is on already is not sent again."""

from engine.core.cable.output_cable import Unit
from engine.midi.controllers import BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM


def selects_sound(message: bytes) -> bool:
    """Whether this is a program change or a bank select."""
    kind = message[0] & 0xF0
    return kind == PROGRAM or (kind == CONTROLLER and message[1] in BANKS)


class ChannelSounds:
    """Channels are 0 to 15.

    `sounds`: by channel, the bank and program messages in force; `banks`: the bank messages that the next program
    change will come under.
    """

    def __init__(self) -> None:
        self.sounds: dict[int, Unit] = {}
        self.banks: dict[int, Unit] = {}

    def note(self, message: bytes) -> None:
        """This was sent; what is neither bank nor program changes nothing."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == PROGRAM:
            self.sounds[channel] = (*self.banks.get(channel, ()), message)
        elif kind == CONTROLLER and message[1] == BANK_MSB:
            self.banks[channel] = (message,)  # a new high byte zeroes the low byte (MIDI 1.0 p. 12)
        elif kind == CONTROLLER and message[1] in BANKS:
            high = (each for each in self.banks.get(channel, ()) if each[1] == BANK_MSB)
            self.banks[channel] = (*high, message)

    def is_on(self, channel: int, unit: Unit) -> bool:
        """Whether this channel would stay on its sound, and its next program under the same bank, if it got these."""
        sound = self.sounds.get(channel, ())
        return sound[-len(unit) :] == unit and self.banks.get(channel, ()) == sound[:-1]

    def copy(self) -> "ChannelSounds":
        """An independent copy."""
        made = ChannelSounds()
        made.sounds, made.banks = dict(self.sounds), dict(self.banks)
        return made

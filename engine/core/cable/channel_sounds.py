"""The bank and program that each channel of an output was put on, so that what it is on already is not sent again."""

from functools import lru_cache

from engine.core.cable.output_cable import BurstUnit, Unit
from engine.midi.controllers import BANK_LSB, BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM


def selects_sound(message: bytes) -> bool:
    """Whether this is a program change or a bank select."""
    kind = message[0] & 0xF0
    return kind == PROGRAM or (kind == CONTROLLER and message[1] in BANKS)


@lru_cache(maxsize=1 << 14)  # a recall asks it of each step, and a rig has a thousand scenes
def is_sound(unit: Unit) -> bool:
    """Whether these messages are program changes and bank selects alone."""
    return all(map(selects_sound, unit))


def is_whole_sound(unit: Unit) -> bool:
    """Whether these are a bank's MSB and LSB, and then a program, as a burst has them."""
    if len(unit) != 3:
        return False
    high, low, program = unit
    status = high[0]
    if status & 0xF0 != CONTROLLER or low[0] != status or program[0] != status ^ CONTROLLER ^ PROGRAM:
        return False
    return high[1] == BANK_MSB and low[1] == BANK_LSB


class ChannelSounds:
    """Channels are 0 to 15.

    `sounds`: by channel, the bank and program messages in force; `banks`: the bank messages that the next program
    change will come under; `chosen`: the messages of a sound that has messages of its own, if that is in force.
    """

    def __init__(self) -> None:
        self.sounds: dict[int, Unit] = {}
        self.banks: dict[int, Unit] = {}
        self.chosen: dict[int, Unit] = {}

    def note(self, message: bytes) -> None:
        """This was sent; what is neither bank nor program changes nothing."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if self.chosen and selects_sound(message):
            self.chosen.pop(channel, None)
        if kind == PROGRAM:
            self.sounds[channel] = (*self.banks.get(channel, ()), message)
        elif kind == CONTROLLER and message[1] == BANK_MSB:
            self.banks[channel] = (message,)  # a new high byte zeroes the low byte (MIDI 1.0 p. 12)
        elif kind == CONTROLLER and message[1] in BANKS:
            high = (each for each in self.banks.get(channel, ()) if each[1] == BANK_MSB)
            self.banks[channel] = (*high, message)

    def note_step(self, step: BurstUnit) -> None:
        """A step of a burst was sent."""
        unit, channel = step.unit, step.channel
        if is_whole_sound(unit):
            self.sounds[channel], self.banks[channel] = unit, unit[:-1]
            self.chosen.pop(channel, None)
        else:
            for message in unit:
                self.note(message)
        if step.chooses:
            self.chosen[step.channel] = step.ends

    def is_on(self, step: BurstUnit) -> bool:
        """Whether the step would leave its channel on its sound, and the next program there under the same bank."""
        channel, unit = step.channel, step.unit
        if step.chooses or channel in self.chosen:
            return step.chooses and self.chosen.get(channel) == (step.sound or unit)
        sound = self.sounds.get(channel, ())
        return sound[-len(unit) :] == unit and self.banks.get(channel, ()) == sound[:-1]

    def correct(self, known: "ChannelSounds", sure: "ChannelSounds") -> None:
        """Take over the banks and programs that are `known`, except for those that are `sure` here."""
        self.sounds |= {channel: unit for channel, unit in known.sounds.items() if channel not in sure.sounds}
        for channel, banks in known.banks.items():
            if channel not in sure.sounds and channel not in sure.banks:
                self.banks[channel] = banks

    def copy(self) -> "ChannelSounds":
        """An independent copy."""
        made = ChannelSounds()
        made.sounds, made.banks, made.chosen = dict(self.sounds), dict(self.banks), dict(self.chosen)
        return made

"""What a rig calls the gear that a message reaches: its sounds, its drums, and the programs as they are printed."""

from engine.midi.drum_names import CHANNEL as DRUM_CHANNEL
from engine.midi.drum_names import drum
from engine.midi.kinds import is_press
from engine.rig.models.printed_labels import programs_by_label
from engine.rig.models.rig import Instrument, Rig, Sound


def sound_of(gear: Instrument, bank: tuple[int, int] | None, program: int) -> str | None:
    """The name of the sound that these messages select alone; `bank` (MSB, LSB) as sent, `program` 0 to 127."""
    for name, sound in gear.sounds.items():
        if (
            not sound.send
            and sound.program == program + gear.programs_from
            and _effective(gear, sound.bank) == _effective(gear, bank)
        ):
            return name
    return None


def drum_of(gear: Instrument, channel: int, key: int) -> str | None:
    """What a key is called on a channel (1 to 16) of an instrument; None for keys without a name.

    They are those of General MIDI 2 if it has drums, and of General MIDI if that is its list of sounds and this is
    channel 10.
    """
    if gear.keys:
        return gear.keys.get(key)
    is_kit = gear.drums or (gear.sounds_from == "general-midi" and channel == DRUM_CHANNEL + 1)
    return drum(key, gm_2=gear.drums) if is_kit else None


def drum_struck(rig: Rig, output: str, message: bytes) -> str | None:
    """The drum that a message to an output strikes; None if it strikes none."""
    if len(message) < 3 or not is_press(message):
        return None
    channel = (message[0] & 0x0F) + 1
    gear = gear_at(rig, output, channel)
    return drum_of(gear, channel, message[1]) if gear is not None else None


def label_of(gear: Instrument, sound: Sound) -> str | None:
    """How the instrument prints the program of a sound, as far as that is known."""
    if sound.printed is not None or gear.labels is None or sound.program is None:
        return sound.printed
    programs = programs_by_label(gear.labels, gear.programs_from)
    return next((label for label, program in programs.items() if program == sound.program), None)


def gear_at(rig: Rig, output: str, channel: int) -> Instrument | None:
    """The instrument that receives on an output's channel (1 to 16)."""
    here = (gear for gear in rig.instruments.values() if gear.output == output and channel in gear.channels)
    return next(here, None)


def _effective(gear: Instrument, bank: tuple[int, int] | None) -> tuple[int, int]:
    """The parts of a bank that the instrument responds to."""
    msb, lsb = bank or (0, 0)
    return msb if "msb" in gear.bank else 0, lsb if "lsb" in gear.bank else 0

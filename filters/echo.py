"""Repeats each note, softer each time, like an echo from the back wall.

`milliseconds = 250`, `repeats = 3`, `fade = 40`: three repeats a quarter of a second apart, each 40 per cent softer
than the one before. A repeat lasts as long as its key was held. Silent repeats are left out.
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator

from engine.midi.kinds import NOTE_OFF, is_press
from filters._values import whole
from filters.registry import FilterSettings, Later, Step

KEEPS_STATE = True


class Settings(FilterSettings):
    """Milliseconds from 1 to 5000, repeats from 1 to 16, fade in per cent from 0 to 99."""

    filter: Literal["echo"]
    milliseconds: Annotated[int, BeforeValidator(whole("milliseconds", 1, 5000))] = 250
    repeats: Annotated[int, BeforeValidator(whole("repeats", 1, 16))] = 3
    fade: Annotated[int, BeforeValidator(whole("fade in per cent", 0, 99))] = 40


def build(settings: Settings) -> Step:
    """Remember which keys are held and the most repeats any press of them has, so that each that began also ends."""
    apart = settings.milliseconds * 1_000_000
    kept = (100 - settings.fade) / 100
    held: dict[tuple[int, int], tuple[int, int]] = {}  # channel and key -> presses, most repeats of one

    def echo(message: bytes, now: int) -> tuple[bytes | Later, ...]:
        if message[0] & 0xE0 != NOTE_OFF:  # neither note-off nor note-on
            return (message,)
        key = (message[0] & 0x0F, message[1])
        presses, most = held.pop(key, (0, 0))
        if is_press(message):
            louds = [round(message[2] * kept**number) for number in range(1, settings.repeats + 1)]
            louds = [loud for loud in louds if loud]
            held[key] = (presses + 1, max(most, len(louds)))
        else:
            # an extra release ends nothing; a missing one, where an earlier one was lost, would leave a repeat hanging
            louds = [message[2]] * most
            if presses > 1:
                held[key] = (presses - 1, most)
        later = (Later(now + number * apart, message[:2] + bytes((loud,))) for number, loud in enumerate(louds, 1))
        return (message, *later)

    return echo

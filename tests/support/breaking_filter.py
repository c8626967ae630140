"""A plug-in filter that transposes notes by a few semitones, until it breaks."""

from typing import Literal

from filters.registry import FilterSettings, Step

KEEPS_STATE = True
broken = False  # tests set it


class Settings(FilterSettings):
    """How far the plug-in moves notes while it works."""

    filter: Literal["fragile"]
    semitones: int


def build(settings: Settings) -> Step:
    """Transposes notes, until it is `broken`."""

    def fragile(message: bytes, now: int) -> tuple[bytes, ...]:
        if broken:
            raise ZeroDivisionError("this plug-in is broken")
        if message[0] & 0xE0 == 0x80 and 0 <= message[1] + settings.semitones < 128:
            return (bytes((message[0], message[1] + settings.semitones, message[2])),)
        return (message,)

    return fragile

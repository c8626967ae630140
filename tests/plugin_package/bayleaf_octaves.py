"""Every note sounds together with its octave above."""

from typing import Literal

from filters.registry import FilterSettings, Step


class Settings(FilterSettings):
    """Nothing to set."""

    filter: Literal["octaves"]


def build(settings: Settings) -> Step:
    """A step that answers notes twice, where there is a note an octave above."""

    def octaves(message: bytes, now: int) -> tuple[bytes, ...]:
        if message[0] & 0xE0 != 0x80 or message[1] > 127 - 12:
            return (message,)
        return message, bytes((message[0], message[1] + 12, message[2]))

    return octaves

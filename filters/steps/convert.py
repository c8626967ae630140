"""The step of `convert`."""

from collections.abc import Sequence

from filters.registry import Step


def converting(came: int, number: int | None, goes: int, tails: Sequence[bytes]) -> Step:
    """Messages of the status `came`, of a controller those with its number, become `goes`, without their channels;
    `tails`: by the last byte that came, what follows the status byte."""

    def convert(message: bytes, now: int) -> tuple[bytes, ...]:
        status = message[0]
        if status & 0xF0 != came or (number is not None and message[1] != number):
            return (message,)
        return (bytes((goes | status & 0x0F,)) + tails[message[-1]],)

    return convert

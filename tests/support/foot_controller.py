"""A foot controller with lights and displays: what it shows by what it was sent, and what told it nothing new."""

from collections.abc import Iterable


class FootController:
    """`things`: what each light and display was last sent, a SysEx by its first three bytes and a key as "key";
    `again`: messages that told it nothing new; `heard`: all of them, in order."""

    def __init__(self) -> None:
        self.things: dict[object, bytes] = {}
        self.again: list[bytes] = []
        self.heard: list[bytes] = []

    def take(self, messages: Iterable[bytes]) -> None:
        """Show these. What silences or sets to rest, and clocks, are not for its lights."""
        for message in messages:
            if message[0] < 0xF8 and is_for_a_light(message):
                thing = _thing(message)
                self.heard.append(message)
                if self.things.get(thing) == message:
                    self.again.append(message)
                self.things[thing] = message


def is_for_a_light(message: bytes) -> bool:
    """Its lights are controllers 20 and 21 and the key 60, all on channel 1; its displays are SysEx."""
    return message[0] == 0xF0 or message[:2] in (b"\xb0\x14", b"\xb0\x15", b"\x90\x3c", b"\x80\x3c")


def _thing(message: bytes) -> object:
    return "key" if message[0] in (0x80, 0x90) else message[:3] if message[0] == 0xF0 else message[:2]

"""The step of `add_bank`."""

from collections.abc import Mapping

from engine.midi.controllers import BANK_LSB, BANK_MSB
from engine.midi.kinds import CONTROLLER, PROGRAM
from filters.registry import Step

Bank = tuple[int, int]  # MSB, LSB


def adding_bank(banks: Mapping[int, Bank], sounds: Mapping[int, tuple[Bank, int]]) -> Step:
    """A bank comes before each program. `banks`: by status byte; `sounds`: by program, bank and program instead."""

    def add_bank(message: bytes, now: int) -> tuple[bytes, ...]:
        status = message[0]
        if status & 0xF0 != PROGRAM:
            return (message,)
        if message[1] in sounds:
            bank, program = sounds[message[1]]
        elif status in banks:
            bank, program = banks[status], message[1]
        else:
            return (message,)
        control = CONTROLLER | status & 0x0F
        return bytes((control, BANK_MSB, bank[0])), bytes((control, BANK_LSB, bank[1])), bytes((status, program))

    return add_bank

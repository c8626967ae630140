"""The values that scenes have set by what they send, so that what is so already is not sent again.

A controller is as a scene set it while it was last sent that value, whoever moved it in between; a parameter while no
player has set it since. Where that is not sure, a value is sent: after SysEx, which may have reset anything unless it
is universal and real-time (F0 7F) or tunes, while something still waits for the cable, and at another machine.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from engine.core.cable.channel_sounds import is_sound
from engine.core.cable.output_cable import BurstUnit, OutputCable, Unit
from engine.core.routing.merging import Merging
from engine.core.routing.sent_values import Moved, SentValues, is_at_rest
from engine.midi.controllers import BANKS, PARAMETERS
from engine.midi.kinds import CONTROLLER, SYSEX
from engine.midi.setup_words import is_value

_REAL_TIME: Final = 0x7F  # the id of universal real-time SysEx (MIDI 1.0 Table VII)

#: output, channel 0 to 15, and what names a value: a controller, or the messages that select a parameter
_Slot = tuple[int, int, Unit]


class EnteredValues:
    """Loop only. Outputs are indices."""

    def __init__(self, sent: SentValues, merging: Merging) -> None:
        self._sent, self._merging = sent, merging
        self._set: dict[_Slot, Unit] = {}

    def needed(self, cable: OutputCable, steps: Sequence[BurstUnit]) -> Sequence[BurstUnit]:
        """Those of these steps for a cable that are to be sent; `note` those that are."""
        if not self._set or not any(_sets(step.unit) for step in steps):
            return steps
        if cable.due is not None or cable.remote is not None:
            self.forget(cable.output)
        self._give_up_parameters(cable.output)
        return [*self._changing(cable.output, steps)]

    def note(self, output: int, steps: Iterable[BurstUnit]) -> None:
        """These steps are sent."""
        for step in steps:
            if is_sound(step.unit):
                continue
            if _may_reset(step.unit):
                self.forget(output)
            elif _sets(step.unit):
                for slot in _slots(output, step.unit):
                    self._set[slot] = step.unit

    def forget(self, output: int) -> None:
        """Nothing is sure there any more."""
        for slot in [each for each in self._set if each[0] == output]:
            del self._set[slot]

    def _changing(self, output: int, steps: Sequence[BurstUnit]) -> Iterator[BurstUnit]:
        sure = True
        set_before: set[_Slot] = set()  # by these steps: what a scene sends when it is left comes before the next one
        for step in steps:
            sure = sure and not _may_reset(step.unit)
            sets = not step.chooses and _sets(step.unit)  # of a sound the cable knows whether it is in force
            slots = set(_slots(output, step.unit)) if sets else set()
            if step.always or not sure or not sets or slots & set_before or not self._is_so(output, step.unit):
                set_before |= slots
                yield step

    def _is_so(self, output: int, unit: Unit) -> bool:
        if any(self._set.get(slot) != unit for slot in _slots(output, unit)):
            return False
        return _is_parameter(unit) or all(self._is_sent(output, message) for message in unit)

    def _is_sent(self, output: int, message: bytes) -> bool:
        now = self._sent.now(Moved(output, message[:2]))
        return now == message or (now is None and is_at_rest(message))

    def _give_up_parameters(self, output: int) -> None:
        """What a player has set since is not as the scene set it."""
        for slot in [each for each in self._set if each[0] == output and _is_parameter(each[2])]:
            if self._merging.has_set(output, slot[1], slot[2]):
                del self._set[slot]


def _sets(unit: Unit) -> bool:
    """Whether these are controllers alone, and none of them a bank, which belongs to its program."""
    return all(message[0] & 0xF0 == CONTROLLER and message[1] not in BANKS for message in unit)


def _may_reset(unit: Unit) -> bool:
    return any(message[0] == SYSEX and message[1] != _REAL_TIME and not is_value(message) for message in unit)


def _is_parameter(unit: Unit) -> bool:
    return unit[0][1] in PARAMETERS


def _slots(output: int, unit: Unit) -> Iterator[_Slot]:
    channel = unit[0][0] & 0x0F
    if _is_parameter(unit):
        yield output, channel, unit[:2]
    else:
        yield from ((output, channel, (message[:2],)) for message in unit)

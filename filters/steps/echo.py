"""The step of `echo`."""

from collections.abc import Callable

from engine.midi.kinds import NOTE_OFF, is_press
from filters.registry import Later, Step


def repeating(repeats: int, kept: float, distance: Callable[[int], int]) -> Step:
    """Remember which keys are held, and the most repeats and the longest distance that any press of them has.

    So each repeat that began also ends, after it began. `kept`: the part of the velocity that each repeat has of the
    one before; `distance`: from one repeat to the next, at a time, both in ns.
    """
    held: dict[tuple[int, int], tuple[int, int, int]] = {}  # channel and key -> presses, repeats, ns between them

    def echo(message: bytes, now: int) -> tuple[bytes | Later, ...]:
        if message[0] & 0xE0 != NOTE_OFF:  # neither note-off nor note-on
            return (message,)
        key = (message[0] & 0x0F, message[1])
        presses, most, longest = held.pop(key, (0, 0, 0))
        if is_press(message):
            apart = distance(now)
            louds = [round(message[2] * kept**number) for number in range(1, repeats + 1)]
            louds = [loud for loud in louds if loud]
            held[key] = (presses + 1, max(most, len(louds)), max(longest, apart))
        else:
            # an extra release ends nothing; a missing one, where an earlier one was lost, would leave a repeat hanging
            apart, louds = longest, [message[2]] * most
            if presses > 1:
                held[key] = (presses - 1, most, longest)
        later = (Later(now + number * apart, message[:2] + bytes((loud,))) for number, loud in enumerate(louds, 1))
        return (message, *later)

    return echo

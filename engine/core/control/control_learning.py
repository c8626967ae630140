"""Works out a control for a switch from what it sent while it was pressed a few times: its condition and its guard."""

from collections.abc import Iterable, Iterator, Sequence
from math import ceil
from typing import Any, Final, NamedTuple

from engine.core.control.control_matching import KEY, SONG_SELECT, Contact, closes, contact_of
from engine.midi.controllers import BANKS, ON_FROM
from engine.midi.key_messages import key_name
from engine.midi.kinds import CONTROLLER, NOTE_ON, PROGRAM

Heard = Sequence[tuple[int, bytes]]  # time in ns and message, in order

_LEAST_GUARD: Final = 30  # ms
_SMALL_STEP: Final = 7  # knobs that send steps send small ones (common practice, no source)
# Common practice, no source: a foot holds a switch down for longer than contacts bounce, and lifts for longer still.
_HOLDS: Final = 60_000_000  # ns
_RESTS: Final = 250_000_000  # ns
_BANK: Final = tuple((CONTROLLER, number) for number in BANKS)


class LearnedControl(NamedTuple):
    """`when`: the condition, in the rig file's own keys; `bounce`: the longest that its contacts bounced (ms)."""

    when: dict[str, Any]
    presses: int
    bounce: float
    last: int  # time of its last message, ns

    @property
    def guard(self) -> str | None:
        """1.5 times as long as it bounced, as written in the rig file; None for a knob, whose steps all count."""
        if "turn" in self.when:
            return None
        return f"{max(_LEAST_GUARD, 10 * ceil(self.bounce * 1.5 / 10))} ms"


def learn(heard: Heard) -> LearnedControl | None:
    """The switch that was pressed most often; None if nothing came that a control can use."""
    sent: dict[Contact, list[tuple[int, bytes]]] = {}
    for at, message in heard:
        contact = contact_of(message)
        if contact is not None:
            sent.setdefault(contact, []).append((at, message))
    if any(contact.kind == PROGRAM for contact in sent):
        sent = {contact: own for contact, own in sent.items() if contact[:2] not in _BANK}  # part of the program change
    found = (each for contact, own in sent.items() if (each := _learned(contact, own)) is not None)
    return max(found, key=lambda each: each.presses, default=None)


def _learned(contact: Contact, own: Heard) -> LearnedControl | None:
    when = _condition(contact, [message[-1] for _, message in own])
    if "turn" in when:
        return LearnedControl(when, len(own), 0.0, own[-1][0])
    changes = list(_changes(own, range(when.get("at_least", ON_FROM if contact.kind == CONTROLLER else 0), 128)))
    bursts = list(_bursts(changes))
    presses = sum(burst[0][1] for burst in bursts)
    longest = max((burst[-1][0] - burst[0][0] for burst in bursts), default=0)
    return LearnedControl(when, presses, longest / 1e6, own[-1][0]) if presses else None


def _condition(contact: Contact, values: Sequence[int]) -> dict[str, Any]:
    """`values`: the last data byte of each message."""
    number = contact.number
    if isinstance(number, bytes):
        return {"sysex": number.hex(" ").upper()}
    if contact.kind in (PROGRAM, SONG_SELECT):
        return {"program" if contact.kind == PROGRAM else "song": number + 1}
    if contact.kind == KEY:
        return {"key": key_name(number)}
    if contact.kind == NOTE_ON:
        return {"note": number}
    if _are_steps(values):
        return {"controller": number, "turn": "up" if values[0] < ON_FROM else "down"}
    if max(values) >= ON_FROM:
        return {"controller": number}
    return {"controller": number, "at_least": max(1, (max(values) + 1) // 2)}


def _are_steps(values: Sequence[int]) -> bool:
    """Small steps up or down, and never 0; steps down alone could be a switch that sends 127 at each press."""
    small = all(value <= _SMALL_STEP or value >= 128 - _SMALL_STEP for value in values)
    return small and 0 < min(values) <= _SMALL_STEP


def _changes(own: Heard, zone: range) -> Iterator[tuple[int, bool]]:
    """When the contact closed or opened; a switch that sends nothing when it opens only ever closes."""
    closed, before = False, None
    for at, message in own:
        closing = closes(message, before, zone)
        before = message[-1]
        if closing or (closing is False and closed):
            closed = closing
            yield at, closed


def _bursts(changes: Iterable[tuple[int, bool]]) -> Iterator[list[tuple[int, bool]]]:
    """Groups of changes, each one movement of the foot."""
    listed = list(changes)
    apart = _RESTS if all(closed for _, closed in listed) else _HOLDS
    burst: list[tuple[int, bool]] = []
    for change in listed:
        if burst and change[0] - burst[-1][0] > apart:
            yield burst
            burst = []
        burst.append(change)
    if burst:
        yield burst

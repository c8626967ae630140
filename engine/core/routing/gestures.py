"""What shapes a note goes on reaching it by the routes by which it was played, until it is silent.

After a scene change, a mute or an edit, an input's pedals, wheels and pressures go two ways: by the routes in force,
and by the older ones to the channels where notes of theirs still sound. On such a channel the older ones have the say;
what the routes in force would set there, for any player, waits until it is silent.
"""

from collections.abc import Iterable
from typing import Final

from engine.core.routing.held_ledger import Ledger
from engine.core.routing.merged_messages import MERGED_PEDALS
from engine.core.routing.open_routes import OpenRoutes
from engine.core.routing.routed_message import RoutedMessage, answer
from engine.core.routing.told_values import Channel
from engine.midi.controllers import SHAPING
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH, is_release

#: a channel comes to rest this long (ns) after its last note, so that the end of the note is not bent or cut
FADING: Final = 500_000_000


class Gestures:
    """Loop only; times in nanoseconds.

    `older`: by input and its channel, the routes by which notes of theirs still sound, and where. `taken`: all these
    channels, each with the routes of its oldest note, which have the say there. `waiting`: the channels where something
    is to be set once they are silent. `playing`: the inputs of all notes, and where they sound.
    """

    def __init__(self, ledger: Ledger) -> None:
        self.older: dict[tuple[int, int], dict[OpenRoutes, set[Channel]]] = {}
        self.taken: dict[Channel, OpenRoutes] = {}
        self.playing: set[tuple[int, Channel]] = set()
        self.waiting: set[Channel] = set()
        self.active = False  # whether there is anything to look after
        self.due: int | None = None
        self._silent: dict[Channel, int] = {}  # since when these of the waiting ones are
        self._ledger = ledger

    def look(self, now: int) -> None:
        """Notes have ended or begun: which older routes still play, and which channels have fallen silent."""
        self.older, self.taken, self.playing = {}, {}, set()
        for hand, routes, channel in self._ledger.voices():
            self.playing.add((hand[0], channel))
            if routes is not None:
                self.older.setdefault(hand, {}).setdefault(routes, set()).add(channel)
                self.taken.setdefault(channel, routes)
        self.waiting |= self.taken.keys()
        sounding = self._ledger.sounding_channels()
        self._silent = {each: self._silent.get(each, now) for each in self.waiting - sounding}
        self.active = bool(self.waiting)
        self.due = min(self._silent.values()) + FADING if self._silent else None

    def take_silent(self, now: int, at_once: Iterable[Channel] = ()) -> set[Channel]:
        """The channels that have been silent for long enough, and those of `at_once` that are; none waits any more."""
        ended = {each for each, since in self._silent.items() if since + FADING <= now or each in at_once}
        self.waiting -= ended
        self.look(now)
        return ended

    def forget(self, now: int, output: int | None = None, channel: int | None = None) -> None:
        """Everything was silenced and set to rest (on one output, or on one channel of it)."""
        self.waiting = {
            each for each in self.waiting if output not in (None, each[0]) or channel not in (None, each[1])
        }
        self.look(now)

    def answer(self, now: int, source: int, message: bytes, new: RoutedMessage) -> RoutedMessage:
        """What becomes of a message while channels are taken, for which the routes in force have `new`."""
        kind = message[0] & 0xF0
        if kind == POLY_AFTERTOUCH:
            routes = self._ledger.routes_of(source, message)
            return new if routes is None else routes.answer(source, message, now)
        if not _shapes(message):
            return new
        older = self.older.get((source, message[0] & 0x0F), {})
        theirs: set[Channel] = set().union(*older.values())
        units = [(output, tuple(m for m in unit if self._passes(output, m, theirs))) for output, unit in new.units]
        later = new.later
        for routes, channels in older.items():
            led = {channel for channel in channels if self.taken[channel] is routes}
            given = routes.answer(source, message, now)
            later += tuple(timed for timed in given.later if is_release(timed.message))  # what a filter has held
            for output, unit in given.units:
                units.append((output, tuple(m for m in unit if _shapes(m) and (output, m[0] & 0x0F) in led)))
        return answer(message, [each for each in units if each[1]], later, now)

    def _passes(self, output: int, message: bytes, theirs: set[Channel]) -> bool:
        """Whether the routes in force may send this; `theirs`: where the same input has older routes.

        Pedals of several players are merged, and cut nothing.
        """
        channel = (output, message[0] & 0x0F)
        if not _shapes(message) or channel not in self.taken:
            return True
        return channel not in theirs and message[0] & 0xF0 == CONTROLLER and message[1] in MERGED_PEDALS


def _shapes(message: bytes) -> bool:
    kind = message[0] & 0xF0
    return message[1] in SHAPING if kind == CONTROLLER else kind in (AFTERTOUCH, PITCH_BEND)

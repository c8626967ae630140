"""What shapes a note goes on reaching it by the routes by which it was played, until it is silent.

After a scene change, a mute or an edit, an input's pedals, wheels and pressures go two ways: by the routes in force,
and by the older ones to the channels where notes of theirs still sound. On such a channel the older ones have the say;
what the routes in force would set there, for any player, waits until it is silent.
"""

from collections.abc import Collection, Iterable
from typing import Final

from engine.core.cable.output_cable import Unit
from engine.core.routing.held_notes import HeldNotes
from engine.core.routing.held_presses import Player
from engine.core.routing.merged_messages import is_pedal
from engine.core.routing.open_routes import Given, OpenRoutes
from engine.core.routing.routed_message import RoutedMessage, TimedMessage, answer
from engine.core.routing.sent_values import Channel, Hand, Moved, hand_of, name_of
from engine.midi.controllers import SHAPING
from engine.midi.kinds import AFTERTOUCH, CONTROLLER, PITCH_BEND, POLY_AFTERTOUCH, is_release

#: a channel comes to rest this long (ns) after its last note, so that the end of the note is not bent or cut
FADING: Final = 500_000_000
#: after a change, between what is looked after bit by bit (ns)
PAUSE: Final = 250_000


class Gestures:
    """Loop only; times in nanoseconds.

    `waiting`: the channels where something is to be set once they are silent, among them all where notes sound that
    were played by older routes; `leading`: whether such routes may lead anything anywhere.

    Who plays where is looked up when it is asked for, since notes begin and end all the time.
    """

    def __init__(self, notes: HeldNotes) -> None:
        self.waiting: set[Channel] = set()
        self.leading = False
        self.active = False  # whether there is anything to look after
        # inputs whose messages go other ways since a change, in order, with the channels where that is settled
        self.unsettled: dict[int, set[Channel]] = {}
        self.silenced = False  # whether anything was set to rest where hands may be elsewhere, as by a panic
        self.goes_on_at = 0  # when the next of them is settled
        self.looks_at: int | None = None  # when pedals are looked after that may have been left
        self._changed_at = 0  # when notes or routes last changed
        self.due: int | None = None
        self._left: set[int] = set()  # the inputs that they are of
        self._known = False  # whether the following four are as the notes have it
        self._taken: dict[Channel, dict[Player, None]] = {}  # see `_take`
        self._players: dict[Channel, dict[Player, None]] = {}  # of all channels that sound
        self._older: dict[Hand, dict[OpenRoutes, set[Channel]]] = {}  # see `older`
        self._channels: dict[Hand, set[Channel]] = {}  # see `channels_of`
        self._pressed: dict[Channel, list[Player]] = {}  # those of `_players` where keys are down
        self._silent: dict[Channel, int] = {}  # since when these of the waiting ones are
        self._given: Given = {}  # to the last message
        self._notes = notes

    def leave(self, now: int, channels: Collection[Channel], unsettled: Iterable[int]) -> None:
        """Other routes are in force: notes on these channels have older ones, and these inputs are to be settled."""
        self._known = False
        self.waiting.update(channels)
        self.leading = self.leading or bool(channels)
        self.silenced = False
        for source in unsettled:
            self.unsettled[source] = set()
        self.goes_on_at = now + PAUSE
        if self.unsettled and (self.due is None or self.due > self.goes_on_at):
            self.due = self.goes_on_at

    def notes_changed(self, now: int, sources: Iterable[int] = ()) -> None:
        """Notes have ended or begun, or a pedal was moved: what these inputs may have left is looked after soon."""
        self._known = False
        self._changed_at = now
        if not (self.waiting or self.unsettled):
            return
        self._left.update(sources)
        self.active = True
        if self.looks_at is None:
            self.looks_at = now + PAUSE
            self.due = self.looks_at if self.due is None else min(self.due, self.looks_at)

    def take_left(self) -> set[int]:
        """The inputs that may have left pedals: they are looked after now."""
        if not self._known:
            self._look()
        left, self._left, self.looks_at = self._left, set(), None
        return left

    def _look(self) -> None:
        """Who plays where, and by which older routes."""
        notes = self._notes
        pressed = notes.players()
        changed = {
            channel
            for channel, players in pressed.items()
            if [*players] != self._pressed.get(channel) or notes.ringing.is_on(channel)
        }
        for channel in changed.union(self._pressed.keys() - pressed.keys(), notes.ringing.take_touched()):
            self._take(channel, notes.ringing_players(channel) | pressed.get(channel, {}))
        self._pressed = {channel: [*players] for channel, players in pressed.items()}
        self._older.clear()
        self._channels.clear()
        self.waiting.update(self._taken)
        self.leading = bool(self._taken)
        self._known = True

    def _take(self, channel: Channel, players: dict[Player, None]) -> None:
        """These play on a channel. It is taken if any of them does by older routes: with all that sound there, the
        oldest first, by their routes (None: those in force)."""
        if players:
            self._players[channel] = players
        else:
            self._players.pop(channel, None)
        if all(routes is None for _, routes in players):
            self._taken.pop(channel, None)
        else:
            self._taken[channel] = _in_order(players, self._taken.get(channel, {}))

    def plan(self, sounding: set[Channel] | None = None) -> None:
        """What waits is another, or notes have changed: since when channels are silent, and what is due.

        `sounding`: the channels that sound, if that is known.
        """
        if sounding is None:
            sounding = self._notes.sounding_channels() if self.waiting else set()
        self._silent = {each: self._silent.get(each, self._changed_at) for each in self.waiting - sounding}
        self.active = bool(self.waiting or self.unsettled or self.looks_at is not None)
        dues = [min(self._silent.values()) + FADING] if self._silent else []
        if self.unsettled:
            dues.append(self.goes_on_at)
        if self.looks_at is not None:
            dues.append(self.looks_at)
        self.due = min(dues, default=None)

    def take_silent(self, now: int, at_once: Iterable[Channel] = ()) -> set[Channel]:
        """The channels that have been silent for long enough, and those of `at_once` that are; none waits any more."""
        ended = {each for each, since in self._silent.items() if since + FADING <= now or each in at_once}
        if ended:
            self.waiting -= ended
            self.plan()
        return ended

    def older(self, hand: Hand) -> dict[OpenRoutes, set[Channel]]:
        """The older routes by which notes of this hand still sound, and where."""
        if not self._known:
            self._look()
        found = self._older.get(hand)
        if found is None:
            found = self._older[hand] = {}
            for channel, players in self._taken.items():
                for player, routes in players:
                    if player == hand and routes is not None:
                        found.setdefault(routes, set()).add(channel)
        return found

    def channels_of(self, hand: Hand) -> set[Channel]:
        """Where notes of this hand sound."""
        if not self._known:
            self._look()
        found = self._channels.get(hand)
        if found is None:
            found = self._channels[hand] = {
                channel for channel, players in self._players.items() for player, _ in players if player == hand
            }
        return found

    def leads(self, hand: Hand, moved: Moved) -> bool:
        """Whether older routes lead there what this hand moves, by which notes of theirs still sound on the channel."""
        older = self.older(hand).items()
        return any(moved.channel in channels and moved in routes.shaped_by(hand) for routes, channels in older)

    def forget(self, now: int, output: int | None = None, channel: int | None = None) -> None:
        """Everything was silenced and set to rest (on one output, or on one channel of it)."""
        self.waiting = {
            each for each in self.waiting if output not in (None, each[0]) or channel not in (None, each[1])
        }
        if output is None:
            self.unsettled.clear()
            self._left, self.looks_at = set(), None
        self.silenced = True
        self._known, self._changed_at = False, now
        self.plan()

    def answer(self, now: int, source: int, message: bytes, routes: OpenRoutes | None) -> RoutedMessage:
        """What becomes of a message while older routes lead; `routes`: those in force, if it goes by them."""
        self._given.clear()
        new = answer(source, message, ()) if routes is None else routes.answer(source, message, now, self._given)
        kind = message[0] & 0xF0
        if kind == POLY_AFTERTOUCH:
            return self._pressure(now, source, message, new)
        if not _shapes(message):
            return new
        hand = hand_of(source, message)
        units: list[tuple[int, Unit]] = []
        sent: set[Moved] = set()  # by older routes
        later = new.later
        for routes, channels in self.older(hand).items():
            given = routes.answer(source, message, now, self._given)
            later += tuple(timed for timed in given.later if is_release(timed.message))  # what a filter has held
            for output, unit in given.units:
                part = [m for m in unit if (output, m[0] & 0x0F) in channels and _shapes(m)]
                part = [m for m in part if self._may(routes, output, m)]
                part = [m for m in part if Moved(output, name_of(m)) not in sent]
                sent.update(Moved(output, name_of(m)) for m in part)
                units.append((output, tuple(part)))
        for output, unit in new.units:
            part = [m for m in unit if self._may(None, output, m)]
            units.append((output, tuple(m for m in part if Moved(output, name_of(m)) not in sent)))
        return answer(source, message, tuple(each for each in units if each[1]), later, now)

    def _pressure(self, now: int, source: int, message: bytes, new: RoutedMessage) -> RoutedMessage:
        """The pressure of a key goes where the note of the key sounds."""
        routes, channels = self._notes.routes_of(source, message)
        if routes is None:
            return new
        given = routes.answer(source, message, now, self._given)
        there = ((output, tuple(m for m in unit if (output, m[0] & 0x0F) in channels)) for output, unit in given.units)
        return answer(source, message, tuple(each for each in there if each[1]), given.later, now)

    def held(self, now: int, source: int, release: bytes) -> tuple[TimedMessage, ...]:
        """After `answer` to a release: what filters of the older routes by which its key sounds still hold."""
        routes, _ = self._notes.routes_of(source, release)
        return routes.answer(source, release, now, self._given).held if routes is not None else ()

    def _may(self, routes: OpenRoutes | None, output: int, message: bytes) -> bool:
        """Whether what these routes have made of a message may be sent: whether nobody who plays there has the say.

        The say about a controller has the oldest note of the channel whose own routes lead it there. Pedals of several
        players are merged, and cut nothing.
        """
        players = self._taken.get((output, message[0] & 0x0F))
        if players is None or not _shapes(message) or is_pedal(message):
            return True
        moved = Moved(output, name_of(message))
        for player, theirs in players:
            if theirs is routes:
                return True
            if theirs is not None and moved in theirs.shaped_by(player):
                return False
        return True


def _in_order(players: dict[Player, None], before: dict[Player, None]) -> dict[Player, None]:
    """Those who played before come first, in the same order; they may go on by routes that were in force then."""
    if players.keys() == before.keys() and all(routes is not None for _, routes in before):
        return before
    known = [each for hand, routes in before for each in players if each[0] == hand and routes in (None, each[1])]
    return dict.fromkeys((*known, *players))


def _shapes(message: bytes) -> bool:
    kind = message[0] & 0xF0
    return message[1] in SHAPING if kind == CONTROLLER else kind in (AFTERTOUCH, PITCH_BEND)

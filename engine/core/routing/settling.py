"""Brings the channels of all outputs to what the routes in force make of hands and feet: sent, or at rest.

What a scene newly reaches is sent where the pedals, wheels and faders of its players really are; what is no longer fed
comes to rest. On a channel where a note sounds both wait until it is silent (`gestures`), so that no note is bent, cut
or made loud by a scene change.
"""

from collections.abc import Collection, Container, Iterable, Mapping
from typing import Final, NamedTuple

from engine.core.cable.kept_unit import KeptUnit
from engine.core.cable.output_cable import Delivery
from engine.core.routing.gestures import PAUSE
from engine.core.routing.held_presses import Target
from engine.core.routing.merged_messages import is_pedal
from engine.core.routing.open_routes import OpenRoutes
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import NOBODY
from engine.core.routing.sent_values import Channel, Hand, Moved, hand_of, is_so, moves_of, position_of
from engine.core.state import State
from engine.midi.controllers import ON_FROM
from engine.midi.kinds import NOTE_ON, POLY_AFTERTOUCH

#: how many pedals, wheels and faders are looked after at once at the most, but for those of a single input
_AT_ONCE: Final = 4


class Wanted(NamedTuple):
    """What an input makes of something: the message that came in when it was moved there, and what is to be sent."""

    message: bytes
    sent: bytes


#: by what is moved, and by hand
AllWanted = dict[Moved, dict[Hand, Wanted]]


class Settling:
    """Outputs and inputs are indices, times in nanoseconds; what is to be sent now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs) -> None:
        self._state, self._outputs = state, outputs

    # Occasions

    def change(self, now: int, before: OpenRoutes | None, sources: Collection[int], out: list[Delivery]) -> None:
        """Other routes are in force for these inputs: `tick` settles those whose messages go other ways."""
        state, routes = self._state, self._state.routes
        assert routes is not None, "a scene is in force"
        if not state.rules.gestures:
            self._rest(now, {}, set(sources), state.ledger.moved_by(set(sources)), set(), out)
            return
        gestures = state.gestures
        changed: Collection[int] = sources
        bound: Collection[Channel] = ()
        if before is not None:
            differ = self._differing(before, routes, sources)
            bound = state.ledger.notes.bind(differ, before)
            if not gestures.silenced:
                changed = differ
        gestures.leave(now, bound, sorted(self._movers(changed)))
        gestures.notes_changed(now, range(len(state.boards)))

    def _movers(self, sources: Collection[int]) -> set[int]:
        """Those of these inputs that have moved anything."""
        moved = self._state.positions.moved().intersection(sources)
        if len(moved) < len(sources):  # a pressure, or a note that a filter has made, has no position
            moved |= self._state.ledger.sent.movers().intersection(sources)
        return moved

    def _differing(self, before: OpenRoutes, routes: OpenRoutes, sources: Collection[int]) -> set[int]:
        """Those of these inputs whose messages go other ways by the ones than by the others, or may be taken by other
        controls."""
        boards = self._state.boards
        return before.differing(routes, sources) | {each for each in sources if boards[each] is not None}

    def tick(self, now: int, out: list[Delivery]) -> None:
        """What is due: pedals that may have been left, some more inputs to settle, channels that have been silent long.

        All that is done bit by bit, with pauses, so that no note waits for long, however many wheels and faders there
        are.
        """
        gestures = self._state.gestures
        left = gestures.take_left() if gestures.looks_at is not None else set()
        if gestures.unsettled and gestures.goes_on_at <= now:
            some = self._next_unsettled()
            gestures.goes_on_at = now + PAUSE
            sounding = self._sounding()  # nothing begins or ends there meanwhile
            for source in some:
                self._settle(now, source, sounding, out)
            left.update(some)
        self._lift_left(now, left, out)
        self.after_silence(now, out)

    def after_pedal(self, now: int, source: int, out: list[Delivery]) -> None:
        """An input's pedal was moved, which may lead nowhere, or more was done than a note ended: it does not wait."""
        gestures = self._state.gestures
        gestures.notes_changed(now, (source,))
        self._lift_left(now, gestures.take_left(), out)

    def _next_unsettled(self) -> list[int]:
        """The inputs to settle now."""
        some: list[int] = []
        left = _AT_ONCE
        for source in self._state.gestures.unsettled:
            some.append(source)
            left -= self._state.positions.count(source)
            if left <= 0:
                break
        return some

    def _settle(self, now: int, source: int, sounding: set[Channel], out: list[Delivery]) -> None:
        """What this input no longer feeds comes to rest, and what it newly reaches is sent its positions."""
        self._state.gestures.unsettled.pop(source, None)
        wanted, moved = self._wanted((source,)), self._state.ledger.moved_by({source})
        self._rest(now, wanted, {source}, self._not_waiting(moved, sounding), sounding, out)
        self._send(now, wanted, out, sounding)

    def controls_changed(self, now: int, out: list[Delivery]) -> None:
        """The routes are the same, but controls may take what moved something: that comes to rest."""
        ledger = self._state.ledger
        for moved in ledger.sent.moved():
            taken = {hand for hand, message in ledger.movers(moved).items() if self.consumes(hand[0], message)}
            if taken:
                self._outputs.put(now, ledger.leave(moved, taken), out)

    def _lift_left(self, now: int, sources: Container[int], out: list[Delivery]) -> None:
        """The pedals that these inputs have left come up, unless others hold them."""
        gestures, ledger = self._state.gestures, self._state.ledger
        left: dict[Moved, set[Hand]] = {}
        kept: dict[tuple[Hand, bytes], Container[Channel]] = {}  # where pedals that are down hold notes of their hands
        for moved, hand, came in ledger.pedals.held_by(sources, gestures.waiting) if gestures.waiting else ():
            if hand[0] in gestures.unsettled:
                continue
            channels = kept.get((hand, came))
            if channels is None:
                up = self._state.positions.is_up(hand[0], came)
                channels = kept[hand, came] = () if up else gestures.channels_of(hand)
            if moved.channel not in channels and self._is_left(hand, came, moved):
                left.setdefault(moved, set()).add(hand)
        for moved, hands in left.items():
            self._outputs.put(now, ledger.leave(moved, hands), out)
        if left:
            gestures.notes_changed(now)
        gestures.plan()

    def _is_left(self, hand: Hand, came: bytes, moved: Moved) -> bool:
        """Whether this hand has left a pedal: it leads there no more, where it does not play, or is off the pedal."""
        gestures = self._state.gestures
        if self.feeds(hand[0], came, moved):
            return False
        return moved.channel not in gestures.channels_of(hand) or not gestures.leads(hand, moved)

    def after_silence(self, now: int, out: list[Delivery], at_once: Iterable[Channel] = ()) -> None:
        """Set what has waited for silence, on channels `at_once` before it has lasted."""
        ended = self._state.gestures.take_silent(now, at_once)
        if ended:
            wanted = self._wanted(self._reaching(ended), ended)
            self._rest(now, wanted, None, self._state.ledger.sent.moved_on(ended), self._sounding(), out)
            self._send(now, wanted, out)

    def before_press(self, now: int, source: int, targets: Collection[Target], out: list[Delivery]) -> None:
        """A note is about to begin where something waits: what belongs to it goes first."""
        gestures = self._state.gestures
        channels = {(target.output, target.channel) for target in targets}
        sounding = self._sounding()
        wanted = self._settle_on(now, source, channels, sounding, out) if gestures.unsettled else None
        channels &= gestures.waiting
        if not channels:
            return
        if gestures.looks_at is not None:  # notes may have ended there since
            gestures.plan(sounding)
        self.after_silence(now, out, channels)
        channels &= gestures.waiting
        if channels:  # a pedal that is down holds the new note, and ends none of the old ones
            wanted = self._wanted((source,), channels) if wanted is None else wanted
            self._send(now, _pedals_down(wanted, channels), out)
            self._end_pressures(now, (each for each in targets if each[:2] in channels), out)

    def _end_pressures(self, now: int, struck: Iterable[Target], out: list[Delivery]) -> None:
        """What earlier notes of these keys have left of their pressures comes to rest: no new note begins with it."""
        ledger = self._state.ledger
        for output, channel, key in struck:
            moved = Moved(output, bytes((POLY_AFTERTOUCH | channel, key)))
            if moved in ledger.sent.values and self._outlasts_its_note(moved):
                self._outputs.put(now, ledger.rest(moved), out)

    def _settle_on(
        self, now: int, source: int, channels: set[Channel], sounding: set[Channel], out: list[Delivery]
    ) -> AllWanted | None:
        """Settle these channels, and no others, for a note of this input: what else is unsettled does not delay it.

        The answer is what the input makes of its positions there, if that was found out.
        """
        state = self._state
        unsettled, wanted = state.gestures.unsettled, None
        moved = state.ledger.sent.moved_on(channels)
        movers = {mover for each in moved for mover, _ in state.ledger.movers(each)}
        moved = self._not_waiting(moved, sounding)
        for each in (source, *sorted(movers - {source})):  # others may have left something there
            if channels <= unsettled.get(each, channels):
                continue
            unsettled[each] |= channels
            theirs = self._wanted((each,), channels)
            if each == source:
                wanted = theirs
            if moved:
                self._rest(now, theirs, {each}, moved, sounding, out)
            self._send(now, theirs, out, sounding)
        return wanted

    def send_to_output(self, now: int, output: int, out: list[Delivery]) -> None:
        """An output is back, at rest: it is sent everything that the routes in force lead there."""
        self._send(now, self._wanted(None, {(output, channel) for channel in range(16)}), out)

    def send_again(self, now: int, sources: Iterable[int], out: list[Delivery]) -> None:
        """Everything that the routes in force lead anywhere from these inputs is sent once more."""
        values, wanted = self._state.ledger.sent, self._wanted(sources)
        same = [(moved, sent) for moved in sorted(wanted) if (sent := values.now(moved)) is not None]
        self._put(now, same, out)
        self._send(now, wanted, out, self._sounding())

    # What is wanted, what is at rest

    def _sounding(self) -> set[Channel]:
        return self._state.ledger.notes.sounding_channels() if self._state.rules.gestures else set()

    def _reaching(self, channels: set[Channel]) -> list[int]:
        """The inputs that may reach the outputs of these channels, and of which anything was moved."""
        state, outputs = self._state, {output for output, _ in channels}
        moved = sorted(source for source in state.positions.moved() if 0 <= source < len(state.compiled.inputs))
        return [source for source in moved if not outputs.isdisjoint(state.reach(source))]

    def _wanted(self, sources: Iterable[int] | None, channels: Container[Channel] | None = None) -> AllWanted:
        """What the routes in force make of the positions of these inputs, or of all; on these channels, or on all."""
        state = self._state
        wanted: AllWanted = {}
        routes = state.routes
        if routes is None or not state.rules.gestures:
            return wanted
        for source in range(len(state.compiled.inputs)) if sources is None else sources:
            for message in state.positions.of(source):
                if not self.consumes(source, message):
                    moves = routes.moves(source, message).items()
                    for moved, sent in moves:
                        if moved.output not in state.leaving and (channels is None or moved.channel in channels):
                            wanted.setdefault(moved, {})[hand_of(source, message)] = Wanted(message, sent)
        return wanted

    def _not_waiting(self, moved: Iterable[Moved], sounding: set[Channel]) -> list[Moved]:
        """What of this does not wait for its channel to be silent already; a note never does."""
        waiting = self._state.gestures.waiting & sounding
        return [each for each in moved if each.channel not in waiting or each.what[0] & 0xF0 == NOTE_ON]

    def _rest(
        self,
        now: int,
        wanted: AllWanted,
        sources: set[int] | None,
        candidates: Iterable[Moved],
        sounding: set[Channel],
        out: list[Delivery],
    ) -> None:
        """What of these candidates the inputs have moved, and no longer feed, comes to rest, where nothing sounds."""
        state = self._state
        for moved in candidates:
            output, what = moved
            channel, on_note = (output, what[0] & 0x0F), what[0] & 0xF0 == NOTE_ON
            movers = state.ledger.movers(moved).items()
            leaving = {
                hand
                for hand, message in movers
                if (sources is None or hand[0] in sources)
                and hand not in wanted.get(moved, ())
                and not self._fed(hand[0], message, moved)
            }
            if leaving and channel in sounding and not on_note:
                state.gestures.waiting.add(channel)
            elif leaving and (moved not in wanted or is_pedal(moved.what)):  # else it is sent its new value just now
                self._outputs.put(now, state.ledger.leave(moved, leaving), out)

    def _fed(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether what moved this still does; of positions that are known, what is wanted says so."""
        state = self._state
        if state.rules.gestures and self._outlasts_its_note(moved):
            return False
        remembers = state.routes is not None and bool(state.routes.called[source])  # a latch, for one
        if state.rules.gestures and state.positions.known(source, message) and not remembers:
            return False
        return self.feeds(source, message, moved)

    def _outlasts_its_note(self, moved: Moved) -> bool:
        """Whether this is the pressure of a single key of which nothing sounds any more."""
        output, what = moved
        if what[0] & 0xF0 != POLY_AFTERTOUCH:
            return False
        notes, key = self._state.ledger.notes, Target(output, what[0] & 0x0F, what[1])
        return key not in notes.holders and not notes.ringing.rings((key,))

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this thing by the routes in force."""
        if source == NOBODY:
            return True
        routes = self._state.routes
        return routes is not None and not self.consumes(source, message) and routes.feeds(source, message, moved)

    def consumes(self, source: int, message: bytes) -> bool:
        """Whether a control takes this input's message in the scene in force, so that it takes no route."""
        board = self._state.boards[source] if source != NOBODY else None
        return board is not None and board.owns(message, self._state.in_force[source])

    def _send(self, now: int, wanted: AllWanted, out: list[Delivery], sounding: Container[Channel] = ()) -> None:
        """Tell what is wanted, where it is not so already; on channels that sound it waits."""
        state, values = self._state, self._state.ledger.sent
        news: list[tuple[Moved, bytes]] = []
        for moved in sorted(wanted):  # an MSB before its LSB, which it sets to 0
            players = {source: each for source, each in wanted[moved].items() if each.sent and position_of(each.sent)}
            before = values.now(moved)
            if not players or (
                all(is_so(each.sent, before) for each in players.values()) and self._are_movers(moved, players)
            ):
                continue
            if values.is_commanded(moved) or self._is_others(moved, players):
                continue
            if moved.channel in sounding:
                state.gestures.waiting.add(moved.channel)
                continue
            sent = self._note(moved, players)
            if not is_so(sent, before):
                news.append((moved, sent))
        self._put(now, news, out)

    def _are_movers(self, moved: Moved, players: Mapping[Hand, Wanted]) -> bool:
        """Whether it counts as moved by these, so that it stays when others leave it."""
        movers = self._state.ledger.movers(moved)
        if is_pedal(moved.what):
            return all(hand in movers for hand, each in players.items() if each.sent[2])
        return not movers or any(hand in movers for hand in players)

    def _is_others(self, moved: Moved, players: Mapping[Hand, Wanted]) -> bool:
        """Whether another player, who still feeds this, has moved it: theirs stays."""
        if is_pedal(moved.what):
            return False
        movers = self._state.ledger.movers(moved).items()
        return any(hand not in players and self.feeds(hand[0], message, moved) for hand, message in movers)

    def _note(self, moved: Moved, players: Mapping[Hand, Wanted]) -> bytes:
        """This is what these players make of it; the message that says so: of a pedal, the highest value of all."""
        ledger = self._state.ledger
        if is_pedal(moved.what):
            for hand, each in players.items():
                ledger.move(hand[0], each.message, moves_of(moved.output, (each.sent,)))
                ledger.turn_pedal(moved, hand, (each.message, each.sent[2]))
            return moved.what + bytes((ledger.pedals.value(moved),))
        last = [hand for hand in ledger.movers(moved) if hand in players]
        hand = last[0] if last else next(iter(players))
        ledger.move(hand[0], players[hand].message, moves_of(moved.output, (players[hand].sent,)))
        return players[hand].sent

    def _put(self, now: int, news: Iterable[tuple[Moved, bytes]], out: list[Delivery]) -> None:
        units: dict[Channel, list[bytes]] = {}
        for moved, sent in news:
            units.setdefault(moved.channel, []).append(sent)
        for (output, _), unit in units.items():
            self._state.cables[output].put(now, KeptUnit(unit), out)


def _pedals_down(wanted: AllWanted, channels: Container[Channel]) -> AllWanted:
    """Of what is wanted the pedals that are to be down on these channels."""
    found: AllWanted = {}
    for moved, players in wanted.items():
        if moved.channel in channels and is_pedal(moved.what):
            held = {hand: each for hand, each in players.items() if each.sent and each.sent[2] >= ON_FROM}
            if held:
                found[moved] = held
    return found

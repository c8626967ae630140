"""Brings the channels of all outputs to what the routes in force make of hands and feet: told, or at rest.

What a scene newly reaches is told where the pedals, wheels and faders of its players really are; what is no longer fed
comes to rest. On a channel where a note sounds both wait until it is silent (`gestures`), so that no note is bent, cut
or made loud by a scene change.
"""

from collections.abc import Callable, Container, Iterable, Mapping
from typing import NamedTuple

from engine.core.cable.output_cable import Delivery, KeptUnit
from engine.core.routing.held_ledger import Target
from engine.core.routing.merged_messages import MERGED_PEDALS
from engine.core.routing.open_routes import OpenRoutes
from engine.core.routing.outputs import Outputs
from engine.core.routing.player_numbers import NOBODY
from engine.core.routing.told_values import Channel, Moved, is_at_rest, moves_of, position_of
from engine.core.state import State
from engine.midi.controllers import ON_FROM
from engine.midi.kinds import CONTROLLER, NOTE_ON


class Wanted(NamedTuple):
    """What an input makes of something: the message that came in when it was moved there, and what is to be sent."""

    message: bytes
    sent: bytes


#: by what is moved, and by input
AllWanted = dict[Moved, dict[int, Wanted]]


class Settling:
    """Outputs and inputs are indices, times in nanoseconds; what is to be sent now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs) -> None:
        self._state, self._outputs = state, outputs

    # Occasions

    def change(self, now: int, before: OpenRoutes | None, out: list[Delivery]) -> AllWanted:
        """Other routes are in force now: what they no longer feed comes to rest. What is to be told, see `tell`."""
        state = self._state
        assert state.scene is not None, "routes belong to a scene"
        changed = set(range(len(state.compiled.inputs)))
        if before is not None and state.rules.gestures:
            same = {s for s in changed if state.boards[s] is None and before.alike(state.scene.routes, s)}
            changed -= same
            state.ledger.bind(changed, before)
        wanted = self._wanted(changed)
        self._rest(now, wanted, changed, None, out)
        return wanted

    def controls_changed(self, now: int, out: list[Delivery]) -> None:
        """The routes are the same, but controls may take what moved something: that comes to rest."""
        state = self._state
        for moved, told in state.ledger.told.moved():
            if self.consumes(told.source, told.message):
                self._outputs.put(now, state.ledger.rest(moved), out)

    def tell(self, now: int, wanted: AllWanted, out: list[Delivery]) -> None:
        """Tell what is wanted, where it is not so already, and no note sounds."""
        self._tell(now, wanted, out, self._sounding())
        self.after_end(now, out)

    def after_end(self, now: int, out: list[Delivery]) -> None:
        """Notes may have ended. The pedal of a player who no longer plays where it is down, nor leads there, is up."""
        gestures, ledger = self._state.gestures, self._state.ledger
        gestures.look(now)
        for moved in ledger.pedals.all() if gestures.waiting else ():
            if moved.channel in gestures.waiting:
                gone = {
                    player
                    for player, came in ledger.pedals.players(moved).items()
                    if (player, moved.channel) not in gestures.playing and not self.feeds(player, came, moved)
                }
                if gone:
                    self._outputs.put(now, ledger.leave(moved, gone), out)

    def after_silence(self, now: int, out: list[Delivery], at_once: Iterable[Channel] = ()) -> None:
        """Set what has waited for silence, on channels `at_once` before it has lasted."""
        ended = self._state.gestures.take_silent(now, at_once)
        if ended:
            wanted = _only(self._wanted(None), lambda moved, _: moved.channel in ended)
            self._rest(now, wanted, None, ended, out)
            self._tell(now, wanted, out)

    def before_press(self, now: int, source: int, targets: Iterable[Target], out: list[Delivery]) -> None:
        """A note is about to begin where something waits: what belongs to it goes first."""
        channels = {(target.output, target.channel) for target in targets} & self._state.gestures.waiting
        if not channels:
            return
        self.after_silence(now, out, channels)
        sounding = channels & self._state.gestures.waiting
        if sounding:  # a pedal that is down holds the new note, and ends none of the old ones
            self._tell(now, _only(self._wanted({source}), lambda m, w: m.channel in sounding and _is_down(w.sent)), out)

    def tell_output(self, now: int, output: int, out: list[Delivery]) -> None:
        """An output is back, at rest: it is told everything that the routes in force lead there."""
        self._tell(now, _only(self._wanted(None), lambda moved, _: moved.output == output), out)

    def tell_again(self, now: int, out: list[Delivery]) -> None:
        """Everything that the routes in force lead anywhere is told once more."""
        told, wanted = self._state.ledger.told, self._wanted(None)
        same = [(moved, sent) for moved in sorted(wanted) if (sent := told.now(moved)) is not None]
        self._put(now, same, out)
        self._tell(now, wanted, out, self._sounding())

    # What is wanted, what is at rest

    def _sounding(self) -> set[Channel]:
        return self._state.ledger.sounding_channels() if self._state.rules.gestures else set()

    def _wanted(self, sources: set[int] | None) -> AllWanted:
        """What the routes in force make of the positions of these inputs, or of all."""
        state = self._state
        wanted: AllWanted = {}
        if state.scene is None or not state.rules.gestures:
            return wanted
        routes = state.scene.routes
        for source in range(len(state.compiled.inputs)) if sources is None else sorted(sources):
            for message in state.positions.of(source):
                if not self.consumes(source, message):
                    for moved, sent in routes.moves(source, message).items():
                        wanted.setdefault(moved, {})[source] = Wanted(message, sent)
        return wanted

    def _rest(
        self, now: int, wanted: AllWanted, sources: set[int] | None, channels: set[Channel] | None, out: list[Delivery]
    ) -> None:
        """What these inputs have moved (on these channels), and no longer feed, comes to rest."""
        state, sounding = self._state, self._sounding()
        for moved, _ in state.ledger.told.moved():
            if channels is not None and moved.channel not in channels:
                continue
            movers = state.ledger.movers(moved).items()
            leaving = {
                source
                for source, message in movers
                if (sources is None or source in sources)
                and source not in wanted.get(moved, ())
                and not self._fed(source, message, moved)
            }
            if leaving and moved.channel in sounding and moved.what[0] & 0xF0 != NOTE_ON:
                state.gestures.waiting.add(moved.channel)
            elif leaving and (moved not in wanted or _is_pedal(moved.what)):  # else it is told just now
                self._outputs.put(now, state.ledger.leave(moved, leaving), out)

    def _fed(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether what moved this still does; of positions that are known, what is wanted says so."""
        state = self._state
        if state.rules.gestures and state.positions.known(source, message):
            return False
        return self.feeds(source, message, moved)

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this thing by the routes in force."""
        if source == NOBODY:
            return True
        scene = self._state.scene
        return scene is not None and not self.consumes(source, message) and scene.routes.feeds(source, message, moved)

    def consumes(self, source: int, message: bytes) -> bool:
        """Whether a control takes this input's message in the scene in force, so that it takes no route."""
        board = self._state.boards[source] if source != NOBODY else None
        return board is not None and board.owns(message, self._state.scene_in_force)

    def _tell(self, now: int, wanted: AllWanted, out: list[Delivery], sounding: Container[Channel] = ()) -> None:
        """Tell what is wanted, where it is not so already; on channels that sound it waits."""
        state, told = self._state, self._state.ledger.told
        news: list[tuple[Moved, bytes]] = []
        for moved in sorted(wanted):  # an MSB before its LSB, which it sets to 0
            players = {source: each for source, each in wanted[moved].items() if each.sent and position_of(each.sent)}
            before = told.now(moved)
            if not players or all(_is_so(each.sent, before) for each in players.values()):
                continue
            if told.is_commanded(moved) or self._is_others(moved, players):
                continue
            if moved.channel in sounding:
                state.gestures.waiting.add(moved.channel)
                continue
            sent = self._note(moved, players)
            if not _is_so(sent, before):
                news.append((moved, sent))
        self._put(now, news, out)

    def _is_others(self, moved: Moved, players: Mapping[int, Wanted]) -> bool:
        """Whether another player, who still feeds this, has moved it: theirs stays."""
        if _is_pedal(moved.what):
            return False
        movers = self._state.ledger.movers(moved).items()
        return any(source not in players and self.feeds(source, message, moved) for source, message in movers)

    def _note(self, moved: Moved, players: Mapping[int, Wanted]) -> bytes:
        """This is what these players make of it; the message that says so: of a pedal, the highest value of all."""
        ledger = self._state.ledger
        if _is_pedal(moved.what):
            for source, each in players.items():
                ledger.turn_pedal(moved, source, each.message, each.sent[2])
            return moved.what + bytes((ledger.pedals.value(moved),))
        last = [source for source in ledger.movers(moved) if source in players]
        source = last[0] if last else next(iter(players))
        ledger.move(source, players[source].message, moves_of(moved.output, (players[source].sent,)))
        return players[source].sent

    def _put(self, now: int, news: Iterable[tuple[Moved, bytes]], out: list[Delivery]) -> None:
        units: dict[Channel, list[bytes]] = {}
        for moved, sent in news:
            units.setdefault(moved.channel, []).append(sent)
        for (output, _), unit in units.items():
            self._state.cables[output].put(now, KeptUnit(unit), out)


def _only(wanted: AllWanted, which: Callable[[Moved, Wanted], bool]) -> AllWanted:
    """What of it is wanted where `which` is true."""
    left: AllWanted = {}
    for moved, players in wanted.items():
        kept = {source: each for source, each in players.items() if which(moved, each)}
        if kept:
            left[moved] = kept
    return left


def _is_so(sent: bytes, before: bytes | None) -> bool:
    """Whether the channel was told this already, or is there at rest."""
    return sent == before or (before is None and is_at_rest(sent))


def _is_pedal(what: bytes) -> bool:
    return len(what) > 1 and what[0] & 0xF0 == CONTROLLER and what[1] in MERGED_PEDALS


def _is_down(message: bytes) -> bool:
    """Whether this is a pedal that is down."""
    return _is_pedal(message) and message[2] >= ON_FROM

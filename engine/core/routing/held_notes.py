"""Remembers what sounds: where each press was sent, so that its release is sent there, too.

A release follows the record of its own press, whatever scene, transposition or zone is in force now. A key of an output
that two inputs hold sounds until both release it; the note-offs held back until then are sent with the last one, since
every note-on is owed its note-off (MIDI 1.0 p. A-4).

A press also remembers the routes by which it went, once others have taken their place: what shapes its note goes on
coming by these. Under a pedal notes ring on when their keys are up (`ringing_notes`).
"""

from collections.abc import Callable, Collection, Container, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from engine.core.routing.held_presses import MOST_ENTRIES, HeldPress, Player, Target, merge
from engine.core.routing.ringing_notes import RingingNotes
from engine.core.routing.sent_values import Channel, Hand
from engine.midi.kinds import NOTE_OFF, POLY_AFTERTOUCH, is_release

if TYPE_CHECKING:
    from engine.core.routing.open_routes import OpenRoutes


class HeldNotes:
    """Loop only. Inputs are indices. `holders`: by target, the inputs that hold it, and how many presses of each."""

    def __init__(self, each_press: bool) -> None:
        """`each_press`: see `Silencing`."""
        self._each_press = each_press
        self._presses: dict[tuple[int, int, int], list[HeldPress]] = {}  # (input, channel, key) -> oldest first
        self.holders: dict[Target, dict[int, int]] = {}
        self._owed: dict[Target, int] = {}  # releases held back
        self.ringing = RingingNotes()

    def press(self, source: int, message: bytes, targets: tuple[Target, ...]) -> None:
        """A note-on of this input was sent to these targets (none, if no route took it)."""
        key = (source, message[0] & 0x0F, message[1])
        presses = self._presses.get(key)
        if presses is None:
            self._presses[key] = [HeldPress(targets)]
        elif presses[-1].targets == targets and presses[-1].routes is None:
            presses[-1].count += 1
        else:
            presses.append(HeldPress(targets))
            if len(presses) > MOST_ENTRIES:
                merge(presses)
        for target in targets:
            holders = self.holders.get(target)
            if holders is None:
                self.holders[target] = {source: 1}
            else:
                holders[source] = holders.get(source, 0) + 1

    def release(
        self,
        source: int,
        message: bytes,
        kept: Mapping[Target, tuple[int, int]] | None = None,
        among: Collection[int] | None = None,
    ) -> list[tuple[int, bytes]] | None:
        """The note-offs that a release causes, as (output, message); None if its press is not in the ledger.

        `kept`: where the note goes on sounding, and who holds it there from now on: an input, and the channel (0 to 15)
        that its release will have; `among`: the outputs of the
        press, if it is known.
        """
        key = (source, message[0] & 0x0F, message[1])
        presses = self._presses.get(key)
        if presses is None:
            return None
        oldest = presses[0]
        if not oldest.targets:
            # its release may have been lost, so it must not be released in place of one that sounds
            oldest = next((press for press in presses if press.targets), oldest)
        if among is not None:
            oldest = next((press for press in presses if press.is_among(among)), oldest)
        oldest.count -= 1
        if not oldest.count:
            presses.remove(oldest)
            if not presses:
                del self._presses[key]
        form, velocity = message[0] & 0xF0, message[2]
        sent: list[tuple[int, bytes]] = []
        targets: Sequence[Target] = oldest.targets
        if kept is not None:
            targets = self._hand_over((source, key[1]), oldest, kept)
        silent, alone = targets, True
        for target in targets:
            output, channel, number = target
            off = bytes((form | channel, number, velocity))
            holders = self.holders.get(target)
            if holders is not None and len(holders) == 1 and holders.get(source, 0) == 1 and not self._owed:
                del self.holders[target]  # nobody else holds it, and it was pressed once
                sent.append((output, off))
            else:
                alone = False
                if holders is None or source not in holders:  # what ended it said whether it rings on
                    silent = [each for each in silent if each != target]
                sent += [(output, off)] * self._end_press(source, target)
        if self.ringing.held:
            silent = silent if alone else [each for each in silent if each not in self.holders]
            self.ringing.released((source, key[1]), silent, oldest.routes)
        return sent

    def _ring_on(self, hand: Hand, target: Target, routes: "OpenRoutes | None") -> None:
        """A key is up; under a pedal its note rings on."""
        if self.ringing.held and target not in self.holders:
            self.ringing.released(hand, (target,), routes)

    def _hand_over(
        self, hand: tuple[int, int], press: HeldPress, kept: Mapping[Target, tuple[int, int]]
    ) -> list[Target]:
        """Others hold these from now on for the same hand; the targets that are left."""
        given: dict[tuple[int, int, int], tuple[Target, ...]] = {}
        for target in press.targets:
            if target in kept:
                holder = (*kept[target], target.key)
                given[holder] = (*given.get(holder, ()), target)
                holders = self.holders.setdefault(target, {})
                left = holders.pop(hand[0], 1) - 1
                if left:
                    holders[hand[0]] = left
                holders[holder[0]] = holders.get(holder[0], 0) + 1
        for holder, together in given.items():
            presses = self._presses.setdefault(holder, [])
            alike = (each for each in presses if each.targets == together and each.routes is press.routes)
            entry = next(alike, None)
            if entry is not None:
                entry.count += 1
                continue
            presses.append(HeldPress(together, press.routes, hand))
            if len(presses) > MOST_ENTRIES:
                merge(presses)
        return [target for target in press.targets if target not in kept]

    def _end_press(self, source: int, target: Target) -> int:
        """One press of this input ends at a target; how many note-offs the output gets for it.

        It is no longer counted there if All Notes Off has ended it before.
        """
        holders = self.holders.get(target, {})
        left = holders.pop(source, 1) - 1
        if left:
            holders[source] = left
        if not holders:
            self.holders.pop(target, None)
            return 1 + self._owed.pop(target, 0)
        if len(holders) - (source in holders):
            self._owed[target] = self._owed.get(target, 0) + 1
            return 0
        return 1

    def end(
        self, players: Container[int], ends: Callable[[tuple[int, int, int], Target], bool]
    ) -> Iterator[tuple[int, bytes]]:
        """Note-offs, velocity 64, for these players' presses at some of their targets; what releases them sends none.

        `ends` is asked with an input's key (input, channel, key) and one of its targets.
        """
        ended: dict[tuple[int, Target], int] = {}
        played: dict[tuple[int, Target], tuple[int, OpenRoutes | None]] = {}  # -> from which channel, by which routes
        for key, presses in self._presses.items():
            if key[0] not in players:
                continue
            for press in presses:
                gone = {target for target in press.targets if ends(key, target)}
                press.targets = tuple(target for target in press.targets if target not in gone)
                for target in gone:
                    ended[key[0], target] = ended.get((key[0], target), 0) + press.count
                    played[key[0], target] = key[1], press.routes
            merge(presses)
        for (source, target), count in ended.items():
            holders = self.holders.get(target, {})
            sounded = source in holders
            if sounded:
                holders[source] -= min(holders[source], count) - 1  # one note-off, however often it was pressed
            if self._end_press(source, target):
                yield target.output, bytes((NOTE_OFF | target.channel, target.key, 64))
            channel, routes = played[source, target]
            if sounded:  # else what ended it said whether it rings on
                self._ring_on((source, channel), target, routes)

    def end_silently(self, players: Container[int], output: int, channel: int, under_pedals: bool) -> None:
        """The channel was sent what ends all that these players, and nobody else, hold there.

        `under_pedals`: what rings under a pedal rings on.

        What releases them is sent nevertheless: a receiver may ignore All Notes Off (MIDI 1.0 p. 24).
        """
        for (source, came, _), presses in self._presses.items():
            for press in presses if source in players else ():
                for target in press.targets:
                    if target[:2] != (output, channel) or source not in self.holders.get(target, ()):
                        continue
                    del self.holders[target][source]
                    if not self.holders[target]:
                        del self.holders[target]
                        self._ring_on(press.hand or (source, came), target, press.routes)
        if not under_pedals:
            self.ringing.end((output, channel))

    # What is held

    def is_down(self, source: int, message: bytes) -> bool:
        """Whether this is the release or the pressure of a key of this input whose press is in the ledger."""
        if message[0] & 0xF0 != POLY_AFTERTOUCH and not is_release(message):
            return False
        return (source, message[0] & 0x0F, message[1]) in self._presses

    def held_elsewhere(self, source: int, target: Target) -> bool:
        """Whether an input other than this one holds the target's key."""
        holders = self.holders.get(target)
        return holders is not None and any(other != source for other in holders)

    def cut(self, output: int | None = None, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """Note-offs, velocity 64 (MIDI 1.0 p. 10), for all that sounds, which then counts as silent.

        All that sounds on one output, if it is given; with `channel` (0 to 15) too, on that channel of it.
        """

        def ends(target: Target) -> bool:
            return (output is None or target.output == output) and (channel is None or target.channel == channel)

        gone = [target for target in self.holders if ends(target)]
        for presses in self._presses.values():
            # its release comes later, and must not cut what is played there then
            for press in presses:
                press.targets = tuple(each for each in press.targets if not ends(each))
            merge(presses)
        for target in gone:
            count = sum(self.holders.pop(target).values()) + self._owed.pop(target, 0)
            off = bytes((NOTE_OFF | target.channel, target.key, 64))
            yield from [(target.output, off)] * (count if self._each_press else 1)

    def forget_keys(self) -> None:
        """No key of any input counts as down: what sounded was cut, and a lost release must not matter later."""
        self._presses.clear()

    # Who plays what

    def sounding_channels(self) -> set[Channel]:
        """The channels on which anything sounds."""
        return {(output, channel) for output, channel, _ in self.holders} | self.ringing.channels()

    def players(self) -> dict[Channel, dict[Player, None]]:
        """By channel, who holds the keys of what sounds there, and by which routes, those of the oldest notes first."""
        players: dict[Channel, dict[Player, None]] = {}
        holders = self.holders
        for (source, came, _), presses in self._presses.items():
            for press in presses:
                player = press.hand or (source, came), press.routes
                for target in press.targets:
                    if source not in holders.get(target, ()):  # what this press began has been ended since
                        continue
                    output, channel, _ = target
                    on_channel = players.get((output, channel))
                    if on_channel is None:
                        players[output, channel] = {player: None}
                    else:
                        on_channel[player] = None
        return players

    def ringing_players(self, channel: Channel) -> dict[Player, None]:
        """Who plays what only rings on a channel, and by which routes, those of the oldest notes first."""
        return self.ringing.players(channel, self.holders)

    def routes_of(self, source: int, message: bytes) -> "tuple[OpenRoutes | None, set[Channel]]":
        """By which routes the key of this message of an input sounds (None: those in force, or none), and where."""
        presses = self._presses.get((source, message[0] & 0x0F, message[1]), ())
        sounding = [press for press in presses if press.targets]
        routes = sounding[0].routes if sounding else None
        together = (target for press in sounding if press.routes is routes for target in press.targets)
        holders = self.holders
        return routes, {(target.output, target.channel) for target in together if source in holders.get(target, ())}

    def bind(self, leaving: Container[int], routes: "OpenRoutes") -> set[Channel]:
        """Other routes take the place of these: what the inputs play that leave them goes on by them until silent.

        The answer are the channels where it sounds.
        """
        bound = self.ringing.bind(leaving, routes)
        held = self._presses.items()  # most have been bound by an earlier change
        unbound = [(key[0], press) for key, presses in held for press in presses if press.routes is None]
        for source, press in unbound:
            if (press.hand[0] if press.hand else source) in leaving:
                press.routes = routes
                bound.update((output, channel) for output, channel, _ in press.targets)
        return bound

    def abandon(self, source: int) -> Iterator[tuple[int, bytes]]:
        """Ends all that keys of one input hold, as (output, message): note-offs, velocity 64."""
        if not self._each_press:
            self._hold_once(source)
        for _, channel, key in [held for held in self._presses if held[0] == source]:
            off = bytes((NOTE_OFF | channel, key, 64))
            while (offs := self.release(source, off)) is not None:
                yield from offs if self._each_press else dict.fromkeys(offs)

    def _hold_once(self, source: int) -> None:
        """From now on this input holds each target as if it had been pressed once."""
        once: set[Target] = set()
        for key in [held for held in self._presses if held[0] == source]:
            targets = dict.fromkeys(target for press in self._presses[key] for target in press.targets)
            self._presses[key] = [HeldPress(tuple(target for target in targets if target not in once))]
            once.update(targets)
        for target in once:
            self.holders.setdefault(target, {})[source] = 1

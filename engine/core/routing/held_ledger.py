"""What is held and what is off rest: the notes that sound, and what hands, feet and the rig have moved beside them.

The notes are in `held_notes`; what each channel was sent is in `sent_values`, who holds its pedals in `merged_pedals`.
"""

from collections.abc import Collection, Container, Iterable, Iterator, Mapping

from engine.core.routing.held_notes import HeldNotes
from engine.core.routing.merged_pedals import MergedPedals, PedalHeld, PedalTurns
from engine.core.routing.routed_message import Units
from engine.core.routing.sent_values import Channel, Hand, Move, Moved, SentValues, rest_for
from engine.midi.controllers import HOLDING, ON_FROM
from engine.midi.kinds import CONTROLLER, NOTE_ON, POLY_AFTERTOUCH


class Ledger:
    """Loop only. Inputs are indices."""

    def __init__(self, each_press: bool = False) -> None:
        """`each_press`: see `Silencing`."""
        self.notes = HeldNotes(each_press)
        self.sent = SentValues()
        self.pedals = MergedPedals()

    def sounding(self) -> int:
        """How many keys of outputs are sounding."""
        return len(self.notes.holders)

    def off_rest(self) -> int:
        """How many pedals, bends, wheels and pressures are off rest."""
        return self.sent.off_rest()

    def others_sound(self, players: Container[int], output: int, channel: int) -> bool:
        """Whether anybody else holds a key, or a pedal that may hold notes, on a channel of an output."""
        holding = [holders for target, holders in self.notes.holders.items() if target[:2] == (output, channel)]
        for moved, movers in self._movers_on(output, channel):
            if moved.what[0] & 0xF0 == NOTE_ON:
                holding.append(dict.fromkeys((source for source, _ in movers), 1))
            elif len(moved.what) == 2 and moved.what[1] in HOLDING:
                holding.append(dict.fromkeys((source for source, _ in self.pedals.hands(moved)), 1))
        return any(holder not in players for holders in holding for holder in holders)

    # What was moved

    def move(self, source: int, message: bytes, moves: tuple[Move, ...]) -> None:
        """This input's message was sent and moved these."""
        self.sent.move(source, message, moves)
        self.hold(moves)

    def command(self, moves: tuple[Move, ...]) -> None:
        """A control has sent what moves these, to stay."""
        self.sent.command(moves)
        for move in moves:
            self.pedals.forget(move.moved)
        self.hold(moves)

    def set_up(self, moves: tuple[Move, ...]) -> None:
        """The rig has set these on an instrument."""
        self.sent.set_up(moves)
        self.hold(moves)

    def hold(self, moves: Iterable[Move]) -> None:
        """Those among these moves that are of pedals which hold notes: what rings under them, or no longer does."""
        notes = self.notes
        for move in moves:
            sent = move.sent
            if len(sent) == 3 and sent[0] & 0xF0 == CONTROLLER and sent[1] in HOLDING:
                self.pedals.meet(move.moved)
                notes.ringing.pedal(move.moved.channel, sent[1], sent[2] >= ON_FROM, notes.holders)

    def reset(self, channel: Channel) -> None:
        """All controllers of this channel were reset (RP-015)."""
        for pedal in self.pedals.all():
            if pedal.channel == channel:
                self.pedals.forget(pedal)
        self.sent.reset(channel)
        self.notes.ringing.reset(channel)

    # Who has moved what

    def movers(self, moved: Moved) -> dict[Hand, bytes]:
        """By hand, the message with which it has moved this: of a pedal all that hold it, else the last one."""
        return self.pedals.hands(moved) or self.sent.mover(moved)

    def moved_by(self, sources: Container[int]) -> list[Moved]:
        """What is off rest, and was moved by these inputs."""
        values = self.sent.values
        held = {pedal for pedal in self.pedals.of(sources) if pedal in values and values[pedal][0] not in sources}
        if held:  # others have moved these pedals since
            return [moved for moved, sent in values.items() if sent[0] in sources or moved in held]
        return [moved for moved, sent in values.items() if sent[0] in sources]

    def _movers_on(self, output: int, channel: int) -> Iterator[tuple[Moved, Mapping[Hand, bytes]]]:
        for moved in self.sent.moved():
            if moved.channel == (output, channel):
                yield moved, self.movers(moved)

    def others_moved(self, players: Container[int], output: int, channel: int) -> bool:
        """Whether anything on a channel of an output is off rest that anybody else has moved."""
        return any(
            source not in players
            for moved, movers in self._movers_on(output, channel)
            if rest_for(moved) is not None
            for source, _ in movers
        )

    def rests_of(self, source: int, output: int, channel: int) -> list[bytes]:
        """What sets to rest all that this input has moved on a channel of an output, notes aside."""
        rests = {
            moved: rest_for(moved)
            for moved, movers in self._movers_on(output, channel)
            if any(hand[0] == source for hand in movers) and moved.what[0] & 0xF0 != NOTE_ON
        }
        return [rest for rest in rests.values() if rest is not None]

    def turn_all(self, turned: PedalTurns) -> Units:
        """A player moves these, and the ledger has noted that alone: what is to be sent."""
        sent: Units = ()
        for moved, held, _ in turned.turns:
            value = self.turn_pedal(moved, turned.way.hand, held)
            if value is not None:
                sent += ((moved.output, (moved.what + bytes((value,)),)),)
        self.pedals.settle_alone(turned)
        return sent

    def turn_pedal(self, moved: Moved, hand: Hand, where: PedalHeld) -> int | None:
        """A player moves a pedal (see `MergedPedals.turn`), and the ledger has noted that alone."""
        sent, value = self.pedals.turn(moved, hand, where), where[1]
        if sent != value:  # else just that was noted
            self._pedal_is(moved)
        elif moved.what[1] in HOLDING:
            notes = self.notes
            notes.ringing.pedal(moved.channel, moved.what[1], value >= ON_FROM, notes.holders)
        return sent

    def _leave_pedal(self, moved: Moved, hands: Iterable[Hand]) -> int | None:
        """These no longer have this pedal: the value to be sent, None if it stays as it is."""
        sent = self.pedals.leave(moved, hands)
        self._pedal_is(moved)
        return sent

    def _pedal_is(self, moved: Moved) -> None:
        """The channel has the value that all its players make; the ledger follows."""
        value = self.pedals.value(moved)
        (source, _), came = next(iter(self.pedals.hands(moved).items()), ((0, 0), b""))
        self.move(source, came, (Move(moved, moved.what + bytes((value,)), value == 0),))

    # What ends

    def abandon(self, source: int) -> Iterator[tuple[int, bytes]]:
        """Ends what one input holds, as (output, message): note-offs, velocity 64, and resting values."""
        yield from self.notes.abandon(source)
        for moved in self.sent.moved():
            theirs = {hand for hand in self.movers(moved) if hand[0] == source}
            if theirs:
                yield from self.leave(moved, theirs)
        self.notes.ringing.abandon(source)

    def leave(self, moved: Moved, hands: Collection[Hand]) -> Iterator[tuple[int, bytes]]:
        """These no longer move this, as (output, message): it rests, or is what the others make of it."""
        if all(mover in hands for mover in self.movers(moved)):
            yield from self.rest(moved)
            return
        value = self._leave_pedal(moved, hands)
        if value is not None:
            yield moved.output, moved.what + bytes((value,))

    def rest(self, moved: Moved) -> Iterator[tuple[int, bytes]]:
        """It comes to rest, if it can: the message for that, as (output, message)."""
        message = self.sent.rest(moved)
        if message is not None:
            self.pedals.forget(moved)
            self.hold((Move(moved, message, True),))
            yield moved.output, message

    def lift_pedals(self, channels: Iterable[Channel]) -> Iterator[tuple[int, bytes]]:
        """Lifts the pedals under which notes ring on these channels, as (output, message)."""
        for output, channel in sorted(channels):
            for number in sorted(self.notes.ringing.held.get((output, channel), ())):
                yield from self.rest(Moved(output, bytes((CONTROLLER | channel, number))))

    def release_pressures(self) -> Iterator[tuple[int, bytes]]:
        """Ends the pressure of all single keys, as (output, message): it is that of a note."""
        for moved in self.sent.moved():
            if moved.what[0] & 0xF0 == POLY_AFTERTOUCH:
                yield from self.rest(moved)

    def rest_all(self, output: int | None = None, channel: int | None = None) -> Iterator[tuple[int, bytes]]:
        """What brings everything to rest (on one output, or on one channel of it), as (output, message).

        That is what scenes and controls have set, too.
        """
        for moved in self.sent.moved():
            if output in (None, moved.output) and channel in (None, moved.channel[1]):
                self.pedals.forget(moved)
        yield from self.sent.rest_all(output, channel)
        self.notes.ringing.silence(output, channel)

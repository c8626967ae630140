"""An engine that is played by hands whose truth is known, and a judge of what each note sounds like meanwhile.

The judge knows what the hands do, the connections of each scene and what the outputs were sent; nothing else. Cables
are not paced, so that what a hand does must be heard at once. What it holds against the engine:

- A sounding note follows the hand that plays it, through the connection that its press took, and nothing else. Where
  several notes sound in one place, those that began first have their way (`_claims`).
- Nothing but a pedal changes in a place where a note sounds, unless the hand that has its way there moves it.
- A pedal is down where the hand of any sounding note holds it down.
- A note begins with the pressure of its own finger, or with none, unless the key that is struck sounds already.
- A first note, and a place that has been silent for half a second or when a scene is recalled, is as the hand that
  reaches it now has everything, or at rest.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from typing import Final

from engine.core.cable.output_cable import Delivery
from engine.core.commands import RecallScene
from engine.rig.read.load import read
from tests.support.audible_receiver import (
    PEDALS,
    AudibleReceiver,
    Part,
    PartChange,
    Place,
    message_of,
    part_of,
    rest,
)
from tests.support.engine_calls import adopt, apply, command, engine_of, input_lost, mute, output_there, recall, settled
from tests.support.plain_connections import Connection, Hand, PlainShow

MS: Final = 1_000_000
#: ns after which a silent place is as it should be: half a second, and a tick
_SETTLED: Final = 500 * MS + 1
#: ns after which a recall has told everything: a quarter of a millisecond for each input, and more than enough
_TOLD: Final = 3 * MS

#: a hand, and what it moves
Source = tuple[Hand, Part]


class JudgedEngine:
    """`positions`: where the hands are; `heard`: what the outputs make audible. AssertionError at the first fault.

    With `judges` False, as on cables that are paced, it only plays and hears. With `hurries`, hands and recalls come in
    the moments after a recall, too, in which the engine has not told everything yet.
    """

    def __init__(self, show: PlainShow, scene: int = 1, judges: bool = True, hurries: bool = False) -> None:
        self.show, self.scene, self._judges, self._hurries = show, scene, judges, hurries
        self._told_at = 0  # when a recall has told everything
        self.engine = engine_of(read(show.text, "test"))
        self.now = 0
        self.heard = AudibleReceiver()
        self.positions: dict[Source, int] = {}
        self._muted: set[str] = set()
        self._down: dict[tuple[Hand, int], list[list[Connection]]] = {}  # presses, oldest first -> where each went
        self._held: Counter[tuple[Place, int]] = Counter()  # presses of keys of places
        self._owners: defaultdict[Place, dict[int, list[Connection]]] = defaultdict(dict)  # of sounding notes
        self._began: dict[tuple[Place, int], int] = {}  # of these notes, which press of all began each
        self._playing: defaultdict[Place, dict[Hand, int]] = defaultdict(dict)  # -> the press from which each plays on
        self._presses = 0
        self._silent_since: dict[Place, int] = {}
        self._view: dict[Place, Connection] = {}
        self._of_hand: dict[Hand, list[Connection]] = {}
        self._look()
        self._hear(recall(self.engine, 0, scene))

    # What the hands do

    def play(self, source: int, message: bytes) -> None:
        """Any message of an input. Left out: presses of keys that are down, here or there, and stray releases."""
        hand, kind = (source, message[0] & 0x0F), message[0] & 0xF0
        if kind == 0x90 and message[2]:
            if not self.is_down(hand, message[1]) and not self._is_anothers(hand, message[1]):
                self.press(hand, message[1], message[2])
        elif kind in (0x80, 0x90):
            if self.is_down(hand, message[1]):
                self.release(hand, message[1])
        elif (shaped := part_of(message)) is not None:
            self.move(hand, *shaped)
        else:
            if message[:2] == bytes((0xB0 | hand[1], 121)):  # Reset All Controllers
                self._reset(hand)
            self._hear(self.engine.receive(self.now, source, message))

    def _is_anothers(self, hand: Hand, key: int) -> bool:
        reached = ((each.place, each.key(key)) for each in self._of_hand.get(hand, ()))
        owners = (self._owners[place].get(there, ()) for place, there in reached if there is not None)
        return any(each.hand != hand for listed in owners for each in listed)

    def press(self, hand: Hand, key: int, velocity: int = 100) -> None:
        """A key goes down."""
        taken = [each for each in self._of_hand.get(hand, ()) if each.key(key) is not None]
        first = [each.place for each in taken if self._is_silent(each.place)]
        again = [each.place for each in taken if each.key(key) in self.heard.at(each.place).notes]
        self._down.setdefault((hand, key), []).append(taken)
        self._presses += 1
        for each in taken:
            pressed = each.key(key) or 0
            there = self._owners[each.place]
            if not self._held[each.place, pressed]:  # a note that only rings is another one when it is struck again
                there.pop(pressed, None)
            if pressed not in there:
                self._began[each.place, pressed] = self._presses
            there.setdefault(pressed, []).append(each)
            self._playing[each.place].setdefault(hand, self._presses)
            self._held[each.place, pressed] += 1
        self._hear(self.engine.receive(self.now, hand[0], bytes((0x90 | hand[1], key, velocity))))
        for each in taken:
            note = self.heard.at(each.place).notes.get(each.key(key) or 0)
            assert note is not None or not self._judges, f"{hand} {key} is not heard at {each.place}"
            if note is not None and each.place in first and self._judges:
                self._check_settled(each.place, note.began_with, "at its first note")
            elif note is not None and self._judges:
                self._check_pedals(each, note.began_with)
            if note is not None and self._judges and each.place not in again:
                self._check_pressure(each, note.key, note.began_with)

    def release(self, hand: Hand, key: int) -> None:
        """A key goes up."""
        presses = self._down.get((hand, key), [])
        if presses:
            ended = next((each for each in presses if each), presses[0])
            presses.remove(ended)
            for each in ended:
                self._held[each.place, each.key(key) or 0] -= 1
        self._hear(self.engine.receive(self.now, hand[0], bytes((0x80 | hand[1], key, 64))))

    def move(self, hand: Hand, part: Part, value: int) -> None:
        """A pedal, a wheel, a fader, or the pressure of a finger."""
        self.positions[hand, part] = value
        self._hear(self.engine.receive(self.now, hand[0], message_of(part, hand[1], value)), (hand, part))
        owners = [each for notes in self._owners.values() for listed in notes.values() for each in listed]
        reached = dict.fromkeys((*owners, *self._of_hand.get(hand, ())))
        for each in reached:
            there = each.arriving(part) if each.hand == hand else None
            if there is not None:
                self._check_follows((hand, part), each.place, there)

    def end(self, hand: Hand, number: int) -> None:
        """All Sound Off (120) or All Notes Off (123): no key that this hand has down holds a note any more."""
        self._hear(self.engine.receive(self.now, hand[0], bytes((0xB0 | hand[1], number, 0))))
        for (each, key), presses in self._down.items():
            for pressed in presses if self._judges else ():  # else it is still on its way
                for way in [*pressed]:
                    note = self.heard.at(way.place).notes.get(way.key(key) or 0)
                    if note is not None and note.down:
                        assert each != hand, f"{key} of {hand} sounds on at {way.place}"
                    else:
                        assert each[0] == hand[0], f"{hand} has ended {key} of {each} at {way.place}"
                        pressed.remove(way)
                        self._held[way.place, way.key(key) or 0] -= 1
        self._forget_the_silent()

    def _reset(self, hand: Hand) -> None:
        for (each, part), _ in [*self.positions.items()]:
            resting = rest(part)
            if each == hand and resting is not None:
                self.positions[hand, part] = resting

    def is_down(self, hand: Hand, key: int) -> bool:
        """Whether this hand holds this key."""
        return bool(self._down.get((hand, key)))

    def lift(self) -> None:
        """Every key up, then every pedal."""
        for (hand, key), presses in self._down.items():
            for _ in [*presses]:
                self.release(hand, key)
        self._to_rest(lambda part: part in PEDALS)

    def hands_off(self) -> None:
        """Every key up, then every pedal, wheel and finger at rest."""
        self.lift()
        self._to_rest(lambda part: True)

    def _to_rest(self, which: Callable[[Part], bool]) -> None:
        for (hand, part), value in [*self.positions.items()]:
            resting = rest(part)
            if which(part) and resting not in (None, value):
                self.move(hand, part, resting or 0)

    # What is commanded

    def recall(self, scene: int) -> None:
        """A scene comes into force; nothing is sent that the place was told already, unless it was in force before."""
        other, self.scene = scene != self.scene, scene
        self._look()
        cuts = other and scene in self.show.cuts
        if cuts:
            self._drop()
        self._told_at = self.now + _TOLD * self._hurries
        sent = apply(self.engine, self.now, RecallScene(scene))
        if not self._hurries:
            sent = settled(self.engine, self.now, sent)
        self._hear(sent, judged=not cuts, sparing=other)
        assert not (cuts and self._judges and self.sounding()), "a scene that cuts ends every note"
        if other:
            self._check_long_silent(f"when scene {scene} is recalled")

    def toggle(self, name: str) -> None:
        """Mute a route, or unmute it."""
        self._muted ^= {name}
        self._look()
        self._hear(mute(self.engine, self.now, name, name in self._muted)[1])

    def edit(self, show: PlainShow) -> None:
        """The rig is edited into this one."""
        self.show = show
        self._look()
        self._hear(adopt(self.engine, self.now, read(show.text, "test")))

    def lose(self, source: int) -> None:
        """The cable of an input is pulled: its gestures end, and where its wheels are is not known any more."""
        self.positions = {each: value for each, value in self.positions.items() if each[0][0] != source}
        self._drop(source)
        self._hear(input_lost(self.engine, self.now, source), judged=False)
        for place, channel in self.heard.channels.items():
            pedals = [part for part in PEDALS if channel.told.get(part, 0) >= 64]
            hanging = [key for key in channel.notes if not self._held[place, key] and not pedals]
            assert not hanging, f"{hanging} at {place} sound on, but nobody holds them"

    def come_back(self, output: int) -> None:
        """An output that was away is there again, and knows nothing of what it was told before."""
        self._drop()
        self.heard.channels = {place: each for place, each in self.heard.channels.items() if place[0] != output}
        self._hear(output_there(self.engine, self.now, output), judged=False)

    def forget(self, sent: list[Delivery]) -> None:
        """All instruments have forgotten everything, and are sent this."""
        self.heard.channels.clear()
        self._hear(sent, judged=False)

    def panic(self) -> None:
        """Everything is ended."""
        self._drop()
        self._hear(command(self.engine, self.now, "panic")[1], judged=False)

    def tick(self) -> None:
        """What is due next comes about, if anything is."""
        if (due := self.engine.due) is not None:
            self.now = max(self.now, due)
            self._hear(self.engine.tick(self.now))

    def wait(self, length: int) -> None:
        """Time passes; what has been silent long enough is as it should be."""
        end = self.now + length
        while (due := self.engine.due) is not None and due <= end:
            self.tick()
        self.now = end
        self._check_long_silent("after half a second of silence")

    # What is heard

    def sounding(self) -> int:
        """How many notes sound."""
        return sum(len(channel.notes) for channel in self.heard.channels.values())

    def check_rest(self) -> None:
        """Nothing sounds, nothing waits, everything is at rest."""
        assert self.sounding() == 0, "something sounds on"
        assert self.heard.off_rest() == set(), "something is not at rest"
        assert not self.engine.waiting, "something waits"
        assert self.engine.state.ledger.sounding() == 0, "the ledger has notes that nobody hears"

    def check_places(self, output: int | None = None) -> None:
        """Every silent place (of one output) is as the hand that reaches it has everything, or at rest."""
        for place in {*self._view, *self.heard.channels}:
            if output in (None, place[0]) and self._is_silent(place):
                self._check_settled(place, self.heard.at(place).told, f"in scene {self.scene}")

    def _check_long_silent(self, when: str) -> None:
        for place in {*self._view, *self.heard.channels} if self._judges and self.now >= self._told_at else ():
            if self._is_silent(place) and self.now - self._silent_since.get(place, -_SETTLED) >= _SETTLED:
                self._check_settled(place, self.heard.at(place).told, when)

    def _look(self) -> None:
        self._view = self.show.view(self.scene, self._muted)
        self._of_hand = {}
        for each in self._view.values():
            self._of_hand.setdefault(each.hand, []).append(each)

    def _drop(self, source: int | None = None) -> None:
        """No key that is down (of this input) holds a note any more."""
        for (hand, key), presses in self._down.items():
            for pressed in presses if source in (None, hand[0]) else ():
                for each in pressed:
                    self._held[each.place, each.key(key) or 0] -= 1
                pressed.clear()

    def _is_silent(self, place: Place) -> bool:
        return not self.heard.at(place).notes and not any(self._held[place, key] for key in self._owners.get(place, ()))

    def _hear(
        self, out: list[Delivery], moved: Source | None = None, judged: bool = True, sparing: bool = False
    ) -> None:
        assert len({(to, message) for to, message, _ in out}) == len(out) or moved is None, f"{moved} is fed twice"
        for output, message, _ in out:
            if message[0] >= 0xF0:
                continue
            place = (output, message[0] & 0x0F)
            channel = self.heard.at(place)
            if sparing and self._judges and (shaped := part_of(message)) is not None:
                assert channel.told.get(shaped[0]) != shaped[1], f"{message.hex(' ')} was told already at {place}"
            self.heard.hear(self.now, output, message)
            for change in self.heard.changes if judged and self._judges else ():
                self._judge(change, moved)
            self.heard.changes.clear()
        self._forget_the_silent()

    def _forget_the_silent(self) -> None:
        for place, channel in self.heard.channels.items():
            owners = self._owners[place]
            for key in [key for key in owners if key not in channel.notes and not self._held[place, key]]:
                del owners[key]
            hands = {each.hand for listed in owners.values() for each in listed}
            self._playing[place] = {hand: since for hand, since in self._playing[place].items() if hand in hands}
            if owners:
                self._silent_since.pop(place, None)
            else:
                self._silent_since.setdefault(place, self.now)

    # What the judge holds

    def _claims(self, place: Place, part: Part, keys: list[int]) -> list[Source]:
        """Who may have their way with this part while these keys sound: the hand of the first that can.

        Also hands that can, too, and have played there without a break since before that one began.
        """
        sounding = [(key, self._can(part, owners)) for key, owners in self._owners[place].items() if key in keys]
        oldest = next((each for each in sounding if each[1]), None)
        if oldest is None:
            return []
        began, playing = self._began[place, oldest[0]], self._playing[place]
        others = [source for _, can in sounding for source in can if playing.get(source[0], began) < began]
        return [*dict.fromkeys((*oldest[1], *others))]

    def _can(self, part: Part, owners: list[Connection]) -> list[Source]:
        """The sources of these notes that move this part."""
        return [(each.hand, source) for each in owners if (source := each.source(part)) is not None]

    def _feeder(self, place: Place, part: Part) -> Source | None:
        """Who moves this part by what is in force now."""
        there = self._view.get(place)
        source = there.source(part) if there else None
        return (there.hand, source) if there and source else None

    def _judge(self, change: PartChange, moved: Source | None) -> None:
        place, part, before, after, notes = change
        keys = [note.key for note in notes if part[0] != 0xA0 or note.key == part[1]]
        if not keys:
            return
        what = f"{part} at {place}: {before} -> {after} under {keys}, moved: {moved}"
        if part in PEDALS:
            self._judge_pedal(change, what)
            return
        claims = self._claims(place, part, keys)
        if moved is not None and after == self.positions[moved]:
            assert moved in claims or (not claims and moved == self._feeder(place, part)), f"{what}, {claims} have it"
            return
        raise AssertionError(f"nobody moved {what}")

    def _is_down(self, source: Source) -> bool:
        return self.positions.get(source, 0) >= 64

    def _pedals(self, place: Place, part: Part, keys: list[int]) -> set[Source]:
        """Whose pedals hold the sounding notes of a place."""
        return {source for key in keys for source in self._claims(place, part, [key])}

    def _judge_pedal(self, change: PartChange, what: str) -> None:
        place, part, before, after, notes = change
        if (after >= 64) == ((before or 0) >= 64):
            return
        holding = self._pedals(place, part, [note.key for note in notes])
        if after < 64:
            assert not any(self._is_down(each) for each in holding), f"lifted under {holding}: {what}"
        else:
            also = self._feeder(place, part)
            assert any(self._is_down(each) for each in (*holding, *([also] if also else ()))), f"nobody's pedal: {what}"

    def _check_follows(self, moved: Source, place: Place, part: Part) -> None:
        """A place follows the hand that has its way there; a silent one, once a recall has told everything."""
        if not self._judges:
            return
        channel = self.heard.at(place)
        keys = [key for key in channel.notes if part[0] != 0xA0 or key == part[1]]
        told, value = channel.told.get(part, rest(part)), self.positions[moved]
        feeder = self._feeder(place, part)
        if part in PEDALS:
            holding = self._pedals(place, part, keys)
            everybody = holding | ({feeder} if feeder else set())
            if everybody == {moved} and (holding or (not keys and self.now >= self._told_at)):
                assert told == value, f"{moved} moved {part} to {value}, but {place} has {told}"
            elif any(self._is_down(each) for each in holding):
                assert (told or 0) >= 64, f"{part} at {place} is up, but {holding} hold it down"
            return
        if part[0] == 0xA0 and not self._held[place, part[1]]:  # it is that of a key that is down
            return
        claims = self._claims(place, part, keys)
        if claims == [moved] or (not keys and feeder == moved):
            assert told == value, f"{moved} moved {part} to {value}, but {place} has {told}"

    def _check_pedals(self, pressed: Connection, told: dict[Part, int]) -> None:
        """Whoever else sounds there, a note begins under the pedals that its hand holds down."""
        for part in PEDALS:
            source = pressed.source(part)
            if source is not None and self._is_down((pressed.hand, source)):
                assert told.get(part, 0) >= 64, f"{part} is up at a note of {pressed}"

    def _check_pressure(self, pressed: Connection, key: int, told: dict[Part, int]) -> None:
        """A note begins with the pressure that its own finger had last, or with none.

        Not every keyboard says that there is none when a key comes up.
        """
        part = (0xA0, key)
        source = pressed.source(part)
        where = self.positions.get((pressed.hand, source), 0) if source is not None else 0
        found = told.get(part, 0)
        assert found in (0, where), f"{part} is {found} at a note of {pressed}, not {where}"

    def _check_settled(self, place: Place, told: dict[Part, int], when: str) -> None:
        """A silent place is as the hand that reaches it has everything, else at rest."""
        there = self._view.get(place)
        parts = {*told}
        if there is not None:
            mine = (there.arriving(part) for hand, part in self.positions if hand == there.hand)
            parts |= {part for part in mine if part is not None}
        for part in sorted(parts):
            feeder = self._feeder(place, part)
            where = self.positions.get(feeder) if feeder is not None else None
            wanted = rest(part) if where is None else where
            found = told.get(part, rest(part))
            if part[0] == 0xA0 and found == 0:  # of a key that is up; keyboards need not say so
                continue
            assert wanted is None or found == wanted, f"{when}, {part} at {place} is {found}, not {wanted}"

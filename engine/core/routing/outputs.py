"""The outputs as a whole: putting things on their cables, silencing them, and what is sent when one comes or goes."""

from collections.abc import Collection, Iterable, Sequence

from engine.core.cable.channel_sounds import is_sound, selects_sound
from engine.core.cable.output_cable import BurstUnit, Delivery, OutputCable, Unit, owned
from engine.core.cable.replaceable_values import resets
from engine.core.cable.silencing_messages import EVERY_KEY, WHEELS
from engine.core.cable.speed import CableSpeed
from engine.core.routing.player_numbers import all_of
from engine.core.routing.sent_values import Moved, made_of, moves_of
from engine.core.state import State
from engine.midi.controllers import HOLDING
from engine.midi.kinds import CONTROLLER, POLY_AFTERTOUCH, is_release


class Outputs:
    """Outputs are indices, times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._bursts: set[int] = set()  # where steps of an earlier burst may wait

    def put(self, now: int, sent: Iterable[tuple[int, bytes]], out: list[Delivery]) -> None:
        """These (output, message), each by itself, which no player has sent."""
        cables, merging = self._state.cables, self._state.merging
        for output, message in sent:
            cables[output].put(now, (message,), out)
            merging.by_nobody(output, (message,))

    def tell(self, now: int, output: int, thing: object, message: bytes, out: list[Delivery]) -> None:
        """What `thing`, a light or display on this output, is to show."""
        cable = self._state.cables[output]
        if cable.remote is None:
            cable.put(now, (message,), out)
        else:
            cable.remote.tell(now, thing, message, out)
        self._state.merging.by_nobody(output, (message,))

    def burst(
        self, now: int, output: int, steps: Sequence[BurstUnit], out: list[Delivery], player: str = ""
    ) -> tuple[BurstUnit, ...]:
        """These steps of a player's scene, or of the set-up; the answer are those that are sent."""
        state = self._state
        cable = state.cables[output]
        self._bursts.add(output)
        if _only_sounds(steps):
            needed = tuple(cable.burst(now, steps, out, player))
        else:
            needed = tuple(cable.burst(now, state.entered.needed(cable, steps), out, player))
            state.entered.note(output, needed)
        if needed and state.merging.channels:
            state.merging.by_nobody(output, (message for step in needed for message in step.unit))
        return needed

    def where_steps_wait(self) -> set[int]:
        """The outputs where steps of an earlier burst may wait: here, or on the machine that has the cable."""
        state = self._state
        self._bursts = {output for output in self._bursts if state.cables[output].due is not None}
        return self._bursts | state.remote_cables

    def command(self, output: int, messages: Iterable[bytes]) -> None:
        """A scene or a control sends these: nobody's key holds them, and nobody's route feeds them."""
        for message in messages:
            if not selects_sound(message):
                self._state.ledger.command(moves_of(output, (message,)) + made_of(output, (message,)))
            if resets(message):
                self._state.ledger.reset((output, message[0] & 0x0F))

    def command_steps(self, output: int, steps: Iterable[BurstUnit]) -> None:
        """A scene sends these steps of its burst."""
        for step in steps:
            if not is_sound(step.unit):  # most are nothing else
                self.command(output, step.unit)

    def route(self, now: int, output: int, unit: Unit, out: list[Delivery]) -> None:
        """These together; there may be banks and programs among them."""
        cable = self._state.cables[output]
        (cable.select if any(map(selects_sound, unit)) else cable.put)(now, unit, out)

    def send(self, now: int, sent: Iterable[tuple[str, bytes]], out: list[Delivery]) -> None:
        """The same for outputs by name; those that the rig does not have are passed over."""
        outputs = self._state.compiled.outputs
        self.put(now, ((outputs.index(name), message) for name, message in sent if name in outputs), out)

    def there(
        self, now: int, output: int, driver: CableSpeed | None, owed: Sequence[bytes], out: list[Delivery]
    ) -> None:
        """An output is back, and what is there may have hung, moved or forgotten anything meanwhile.

        It is silenced, set to rest and set up, then put on the scene's sounds, and on the last ones of channels that
        the scene does not name. `driver`: how its driver is to be paced; `owed`: releases that it missed.
        """
        state = self._state
        state.loops.lift(output=output)
        cable = state.cables[output]
        state.change_driver(output, driver)
        state.leaving.discard(output)
        self.silence(now, cable, out, owed, WHEELS)
        sounds = self._sounds_of(output)
        cable.forget_sounds()
        state.entered.forget(output)
        state.ledger.sent.forget(output)
        self.note_set_up(output)
        self.command_steps(output, sounds)
        self.burst(now, output, (*state.compiled.setups.get(output, ()), *sounds), out)

    def set_up(self, now: int, output: int, out: list[Delivery]) -> None:
        """Send an output what sets up its instruments."""
        self.note_set_up(output)
        self.burst(now, output, self._state.compiled.setups.get(output, ()), out)

    def note_set_up(self, output: int) -> None:
        """Remember what the set-up of this output moves, so that rest does not undo it."""
        for step in self._state.compiled.setups.get(output, ()):
            self._state.ledger.set_up(moves_of(output, step.unit))

    def left(self, now: int, output: int, out: list[Delivery]) -> None:
        """This output is about to be closed: what sounds and what was moved there is released, and nothing begins."""
        state = self._state
        state.sensing.outputs.discard(output)
        state.leaving.add(output)
        self.put(now, [*state.ledger.notes.cut(output), *state.ledger.rest_all(output)], out)
        state.gestures.forget(now, output)

    def lost(self, output: int) -> None:
        """The port of this output is gone."""
        self._state.loops.lift(output=output)

    def release_all(self, now: int, out: list[Delivery]) -> None:
        """Every note off, every pedal, bend and wheel to rest."""
        state = self._state
        state.delayed.forget(state.delayed.players)
        self.put(now, [*state.ledger.notes.cut(), *state.ledger.rest_all()], out)
        state.gestures.forget(now)

    def cut(self, now: int, out: list[Delivery]) -> None:
        """End all notes, those that ring under a pedal, too: the pedal is lifted for that."""
        ledger = self._state.ledger
        sounding = ledger.notes.sounding_channels()
        self.put(now, ledger.notes.cut(), out)
        if self._state.rules.gestures:
            self.put(now, ledger.lift_pedals(sounding), out)
            self.put(now, ledger.release_pressures(), out)

    def cut_only(self, now: int, sources: Collection[int], out: list[Delivery]) -> None:
        """End all notes of these inputs alone; where others hold a key or the pedal, that sounds on."""
        ledger = self._state.ledger
        sounding = ledger.notes.sounding_channels()
        players = {number for source in sources for number in (source, *all_of(source))}
        self.put(now, ledger.notes.end(players, lambda key, target: True), out)
        for moved in ledger.sent.moved():
            if _ends_with_notes(moved) and moved.channel in sounding:
                theirs = {hand for hand in ledger.movers(moved) if hand[0] in sources}
                if theirs:
                    self.put(now, ledger.leave(moved, theirs), out)

    def silence(
        self, now: int, cable: OutputCable, out: list[Delivery], owed: Sequence[bytes] = (), more: Sequence[bytes] = ()
    ) -> None:
        """The note-offs that are known to be owed, then the sweep and `more`, then what else is known to be off rest.

        `owed`: releases that the output missed.
        """
        silencing, ledger = self._state.silencing, self._state.ledger
        known = [message for _, message in (*ledger.notes.cut(cable.output), *ledger.rest_all(cable.output))]
        offs = [*(message for message in known if is_release(message)), *owed]
        if not silencing.each_press:
            offs = [*dict.fromkeys(offs)]
        more = [message for message in more if message not in offs]
        swept = {*offs, *silencing.sweep, *more}
        rest = (message for message in known if message not in swept)
        sent = [*offs, *silencing.sweep, *more, *rest]
        cable.panic(now, sent, out)
        self._state.entered.forget(cable.output)
        self._state.merging.by_nobody(cable.output, sent)
        self._state.gestures.forget(now, cable.output)

    def silence_channel(self, now: int, output: int, channel: int, more: bool, out: list[Delivery]) -> None:
        """The same for one channel (0 to 15); `more`: a note-off for every key of it as well.

        What plays on the other channels of its cable goes on.
        """
        ledger = self._state.ledger
        known = [message for _, message in (*ledger.notes.cut(output, channel), *ledger.rest_all(output, channel))]
        offs = [message for message in known if is_release(message)]
        every_key = EVERY_KEY if more else ()
        swept = [message for message in (*self._state.silencing.sweep, *every_key) if message[0] & 0x0F == channel]
        self.put(now, ((output, message) for message in dict.fromkeys((*offs, *swept, *known))), out)
        self._state.gestures.forget(now, output, channel)

    def sounds_in_force(self, output: int) -> list[BurstUnit]:
        """The sounds and values of the scenes in force, those of the last recalled one at the end."""
        scenes = self._state.scenes_in_force()
        return [step for stack, scene in scenes for step in owned(scene.bursts.get(output, ()), stack.name)]

    def _sounds_of(self, output: int) -> tuple[BurstUnit, ...]:
        """Those of channels that the scene does not name, and its own.

        They are sent whatever the channels are on. What waits for its turn is replaced by another sound of its channel
        alone: a scene that is recalled meanwhile may not name all of them.
        """
        state = self._state
        steps = self.sounds_in_force(output)
        named = {step.channel for step in steps if step.selects}
        kept = (
            BurstUnit(channel, unit, 0) for channel, unit in state.cables[output].sounds.items() if channel not in named
        )
        return tuple(step._replace(lasting=state.rules.only_changes, always=True) for step in (*kept, *steps))


def _only_sounds(steps: Iterable[BurstUnit]) -> bool:
    """Whether these are banks and programs alone, as most bursts are."""
    return not [step for step in steps if not is_sound(step.unit)]


def _ends_with_notes(moved: Moved) -> bool:
    """Whether this is a pedal that holds notes, or the pressure of a single key."""
    kind = moved.what[0] & 0xF0
    return kind == POLY_AFTERTOUCH or (kind == CONTROLLER and moved.what[1] in HOLDING)

"""The whole router as a state machine: messages, recalls and time go in; deliveries come out.

No I/O and no clock: each call takes the time in nanoseconds of any monotonic clock and returns what is to be handed
to the drivers now, as (output, message, time its first byte is on the cable). `due` says when `tick` is wanted.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from engine.core.burst import duration, size
from engine.core.controls import Command, switchboards
from engine.core.later import Due, Timetable, player
from engine.core.ledger import Ledger, Target, moves_of
from engine.core.loops import Loops
from engine.core.plan import PRESS, RELEASE, Answer, Compiler, Faults, Plan
from engine.core.remote import Remote, Request
from engine.core.requests import carry_out
from engine.core.sensing import SENSE, Sensing
from engine.core.setlist import SetList
from engine.core.silence import SWEEP, WHEELS
from engine.core.sync import Sync, is_clock
from engine.core.synccommands import command
from engine.core.wire import DIN, DIN_RUNNING, Delivery, Speed, Step, Unit, Wire
from engine.midi.kinds import SYSEX, is_press, is_release
from engine.midi.showcontrol import ALL_CALL
from engine.rig.models import Rig
from filters.registry import Filter, registry


@dataclass(frozen=True)
class Outcome:
    """What became of a command, for whoever gave it.

    `done`: whether anything was changed or sent; `text`: one sentence; `scene`: number and name now in force;
    `source`: who asked; `burst_bytes` and `ready_ns`: what the scene change costs until every instrument is ready.
    """

    do: str
    done: bool
    text: str
    source: str
    scene: tuple[int, str] | None
    burst_bytes: int = 0
    ready_ns: int = 0
    held: int = 0


class Bay:
    """Inputs and outputs are indices: their places in `inputs` and `outputs`. Loop only.

    The rig's own come in its order; an edited rig keeps the places of the names it had (see `succession`).
    """

    def __init__(
        self,
        rig: Rig,
        speeds: Mapping[str, Speed | None] | None = None,
        filters: Mapping[str, Filter] | None = None,
        names: tuple[Sequence[str], Sequence[str]] = ((), ()),
    ) -> None:
        """Compile every scene of a rig.

        `speeds`: how the driver of a fast output is to be paced, None for not at all; `din` outputs are paced as
        their cable is, whatever the driver could take. `names`: inputs and outputs that have places already.
        """
        self.rig = rig
        self.inputs = tuple(dict.fromkeys((*names[0], *rig.inputs)))
        self.outputs = tuple(dict.fromkeys((*names[1], *rig.outputs)))
        self.faults = Faults()
        self.outcomes: list[Outcome] = []  # commands from controls since last taken away by the caller
        self.news: list[tuple[str, str]] = []  # (port, sentence) of what happened unasked, taken away by the caller
        self.ledger = Ledger()
        self.loops = Loops()
        self.timetable = Timetable()
        self.sync = Sync(rig, self.inputs, self.outputs)
        self.wires = [
            Wire(index, self._speed(name, (speeds or {}).get(name))) for index, name in enumerate(self.outputs)
        ]
        self.sensing = Sensing(self.outputs.index(name) for name, port in rig.outputs.items() if port.active_sensing)
        known = registry() if filters is None else filters
        compiler = Compiler(rig, known, self.faults, self.inputs, self.outputs)
        self.plans = {scene.number: compiler.plan(scene) for scene in rig.scenes}
        self._numbers_by_name = {scene.name: scene.number for scene in rig.scenes}
        self._boards = switchboards(rig.controls, self.inputs)
        self.setlist = self._first_setlist()
        self.plan: Plan | None = None  # the compiled scene in force
        self.muted: set[str] = set()  # names of routes that carry nothing
        routes = (*rig.routes, *(route for scene in rig.scenes for route in scene.routes))
        self._route_names = {route.name for route in routes if route.name is not None}
        self.asked: list[tuple[int, Request]] = []  # what the show is to carry out, taken away by it
        remote = rig.remote
        self.device = remote.device if remote else ALL_CALL
        self._remote = Remote(self.device, remote.programs if remote else False)
        self._remote_inputs = {self.inputs.index(name) for name in (remote.inputs if remote else ())}
        self.reply_to = tuple(self.outputs.index(name) for name in (remote.to if remote else ()))

    def _speed(self, output: str, driver: Speed | None) -> Speed | None:
        port = self.rig.outputs.get(output)
        if port is None or port.wire != "din":
            return driver
        return DIN_RUNNING if port.running_status else DIN

    # Messages

    def receive(self, now: int, source: int, message: bytes) -> list[Delivery]:
        """One whole message of input `source`."""
        out: list[Delivery] = []
        if source in self.sensing.heard_at or message == SENSE:
            self.sensing.heard_at[source] = now
        if self.sensing.silent:
            self.sensing.silent.discard(source)
        if self.timetable.due is not None and self.timetable.due <= now:
            self._send_due(now, out)
        if message[0] >= SYSEX:
            self._put_all(now, self.sync.hear(now, source, message), out)
            if self.sync.cues.recalls:
                self._recall_cues(now, out)
        board = self._boards[source]
        if board is not None and (taken := board.take(now, message, self.scene)) is not None:
            if taken.passes:
                self._route(now, source, message, out)
            for asked in taken.commands:
                self.outcomes.append(self.obey(now, asked, self.inputs[source], out))
            return out
        if source in self._remote_inputs and (request := self._remote.read(source, message)) is not None:
            carry_out(self, now, source, request, message, out)
            return out
        self._route(now, source, message, out)
        return out

    def tick(self, now: int) -> list[Delivery]:
        """What has waited for this time."""
        out: list[Delivery] = []
        self.loops.tick(now)
        self._judge(now, out)
        self._put_all(now, self.sync.tick(now), out)
        if self.sync.cues.recalls:
            self._recall_cues(now, out)
        self._send_due(now, out)
        for name, board in zip(self.inputs, self._boards, strict=True):
            if board is not None and board.due is not None and board.due <= now:
                for asked in board.tick(now, self.scene):
                    self.outcomes.append(self.obey(now, asked, name, out))
        for source in self.sensing.silenced(now):
            self.news.append(
                (self.inputs[source], "fell silent (no active sensing for 330 ms); its notes are released")
            )
            out += self._let_go(now, source)
        for output in self.sensing.wanted(now):
            self.wires[output].put(now, (SENSE,), out)
        for wire in self.wires:
            if wire.due is not None and wire.due <= now:
                wire.flush(now, out)
        return out

    @property
    def due(self) -> int | None:
        """When `tick` is next wanted, or None."""
        dues = [wire.due for wire in self.wires if wire.due is not None]
        dues += [
            due for due in (self.loops.due, self.sensing.due, self.timetable.due, self.sync.due) if due is not None
        ]
        return min(dues, default=None)

    @property
    def waiting(self) -> bool:
        """Whether anything that came in or was asked for has not been handed over yet."""
        return (
            self.timetable.due is not None
            or self.loops.due is not None
            or any(wire.due is not None for wire in self.wires)
        )

    def _route(self, now: int, source: int, message: bytes, out: list[Delivery]) -> None:
        plan = self.plan
        if plan is None:
            return
        answer = plan.answer(source, message, now)
        watched = self.loops.pass_by(now, source, message, answer)
        if self.loops.verdicts:
            self._judge(now, out)
        wires = self.wires
        units: Iterable[tuple[int, Unit]] = answer.units
        if answer.kind == RELEASE:
            units = self._released(source, message, answer)
        elif answer.kind == PRESS:
            for output, _ in units:
                if wires[output].full:
                    answer = self._where_room_is(answer)
                    units = answer.units
                    break
            self.ledger.press(source, message, answer.targets)
        if answer.moves:
            self.ledger.move(source, message, answer.moves)
        for output, selecting in answer.selects:
            self.ledger.select(output, selecting)
        if message[0] >= SYSEX:
            if message == SENSE:
                self.sensing.carry(now, (output for output, _ in answer.units))
            elif is_clock(message):
                units = self.sync.let_through(now, source, message, units)
        for timed in answer.later:
            self.timetable.add(source, timed)
        for output, unit in units:
            if not (watched and self.loops.holds(source, output, unit)):
                wires[output].put(now, unit, out)

    def _released(self, source: int, message: bytes, answer: Answer) -> Iterable[tuple[int, Unit]]:
        """A release goes where its press went; what else the scene makes of it goes its own way."""
        offs = self.ledger.release(source, message)
        if offs is not None:
            return [(output, (off,)) for output, off in offs] + [*answer.others]
        passing = (
            (output, tuple(item for item in unit if not is_release(item) or self._may_pass(source, output, item)))
            for output, unit in answer.units
        )
        return ((output, unit) for output, unit in passing if unit)

    def _where_room_is(self, answer: Answer) -> Answer:
        """A full wire begins no note, so that what waits there is never more releases than notes."""
        shed = {output for output, _ in answer.units if self.wires[output].full}
        for output, unit in answer.units:
            self.wires[output].waiting.shed += len(unit) * (output in shed)
        return answer._replace(
            units=tuple(each for each in answer.units if each[0] not in shed),
            targets=tuple(target for target in answer.targets if target.output not in shed),
            moves=tuple(each for each in answer.moves if each[0].output not in shed),
        )

    def _may_pass(self, source: int, output: int, off: bytes) -> bool:
        """A release without a press passes, unless another player holds that key, or nobody has room for it."""
        if self.wires[output].full:
            self.wires[output].waiting.shed += 1
            return False
        return not self.ledger.held_elsewhere(source, Target(output, off[0] & 0x0F, off[1]))

    def _judge(self, now: int, out: list[Delivery]) -> None:
        """Carry out what a trial of a loop came to."""
        verdicts, self.loops.verdicts = self.loops.verdicts, []
        for source, sent, guilty in verdicts:
            for output, unit in sent:
                self.wires[output].put(now, unit, out)
            if guilty:
                names = " and ".join(f'"{self.outputs[output]}"' for output in guilty)
                told = f"a loop was found: what goes to {names} comes back here; this way is muted"
                self.news.append((self.inputs[source], f"{told} until the cable or the scene changes"))
                out += self._let_go(now, source)

    def _put_all(self, now: int, sent: Iterable[tuple[int, bytes]], out: list[Delivery]) -> None:
        for output, message in sent:
            self.wires[output].put(now, (message,), out)

    def _recall_cues(self, now: int, out: list[Delivery]) -> None:
        """The time code has reached scenes that wait for it."""
        numbers, self.sync.cues.recalls = self.sync.cues.recalls, []
        for number in numbers:
            self.outcomes.append(self.obey(now, Command("scene", number), "time code", out))

    # Later messages

    def _send_due(self, now: int, out: list[Delivery]) -> None:
        """What filters had answered for this time; its notes are in the ledger like a player's."""
        for due in self.timetable.take(now):
            for output, message in self._later(due):
                self.wires[output].put(now, (message,), out)

    def _later(self, due: Due) -> Iterable[tuple[int, bytes]]:
        message, outputs = due.message, due.outputs
        if is_release(message):
            return self.ledger.release(due.player, message) or ()
        if is_press(message):
            outputs = tuple(output for output in outputs if not self.wires[output].full)
            targets = tuple(Target(output, message[0] & 0x0F, message[1]) for output in outputs)
            self.ledger.press(due.player, message, targets)
        for output in outputs:
            self.ledger.move(due.source, message, moves_of(output, (message,)))
        return [(output, message) for output in outputs]

    def _forget_later(self, now: int, players: set[int], out: list[Delivery]) -> None:
        """Nothing more is sent for these, and what sounds of theirs ends."""
        self.timetable.forget(players)
        for each in players & self.timetable.players:
            for output, message in self.ledger.abandon(each):
                self.wires[output].put(now, (message,), out)

    # Cables

    def input_lost(self, now: int, source: int) -> list[Delivery]:
        """The cable of input `source` is gone: what it holds is let go, what it moved comes to rest."""
        self.sensing.forget(source)
        out: list[Delivery] = []
        self.loops.lift(now, source=source)
        self._judge(now, out)
        return out + self._let_go(now, source)

    def output_back(self, now: int, output: int, driver: Speed | None) -> list[Delivery]:
        """The cable of an output is back, and what is there may have hung, moved or forgotten anything meanwhile.

        It is silenced and set to rest, then put on the scene's sounds, and on the last ones of channels that the
        scene does not name. `driver`: how its driver is to be paced.
        """
        out: list[Delivery] = []
        self.loops.lift(now, output=output)
        self._judge(now, out)
        known = [*self.ledger.cut(output), *self.ledger.settle_output(output)]
        wire = self.wires[output]
        wire.change_speed(self._speed(self.outputs[output], driver))
        wire.panic(now, [*(message for _, message in known), *SWEEP, *WHEELS], out)
        wire.burst(now, self._sounds_of(output), out)
        return out

    def output_left(self, now: int, output: int) -> list[Delivery]:
        """This output will hear no more of us: what sounds and what was moved there is released."""
        self.sensing.outputs.discard(output)
        out: list[Delivery] = []
        for _, message in [*self.ledger.cut(output), *self.ledger.settle_output(output)]:
            self.wires[output].put(now, (message,), out)
        return out

    def _sounds_of(self, output: int) -> tuple[Step, ...]:
        steps = self.plan.bursts.get(output, ()) if self.plan else ()
        named = {step.channel for step in steps}
        kept = (Step(channel, unit, 0) for channel, unit in self.ledger.sounds(output).items() if channel not in named)
        return (*kept, *steps)

    def _let_go(self, now: int, source: int) -> list[Delivery]:
        out: list[Delivery] = []
        self._forget_later(now, {player(source, False), player(source, True)}, out)
        for output, message in self.ledger.abandon(source):
            self.wires[output].put(now, (message,), out)
        return out

    def awake(self, now: int) -> tuple[Outcome, list[Delivery]]:
        """The machine has slept: nothing that was held or moved is sure any more, so all is released and sent again."""
        self.sensing.excuse(now)
        out = self.release_all(now)
        self.ledger.forget_keys()
        return self._resend(now, "wake-up", out), out

    # Commands

    def command(self, now: int, do: str, scene: int | str | None, source: str) -> tuple[Outcome, list[Delivery]]:
        """Scene, next, back, panic or resend, from outside."""
        out: list[Delivery] = []
        return self.obey(now, Command(do, scene), source, out), out

    def recall(self, now: int, scene: int | str, source: str = "recall") -> list[Delivery]:
        """Switch to a scene by number or name; KeyError if there is none."""
        if self.find(scene) is None:
            raise KeyError(scene)
        return self.command(now, "scene", scene, source)[1]

    def find(self, scene: int | str) -> int | None:
        """The number of the scene of this number or name, or None. A name wins over a number in words."""
        if isinstance(scene, int):
            return scene if scene in self.plans else None
        number = self._numbers_by_name.get(scene)
        # Python refuses to read a number of thousands of digits.
        if number is None and scene.isascii() and scene.isdecimal() and len(scene) < 10 and int(scene) in self.plans:
            number = int(scene)
        return number

    @property
    def scene(self) -> tuple[int, str] | None:
        """Number and name of the scene in force."""
        return (self.plan.number, self.plan.name) if self.plan else None

    def release_all(self, now: int) -> list[Delivery]:
        """End of the show: every note off, every pedal, bend and wheel to rest."""
        out: list[Delivery] = []
        self.timetable.forget(self.timetable.players)
        for output, message in [*self.ledger.cut(), *self.ledger.settle(lambda *_: False)]:
            self.wires[output].put(now, (message,), out)
        return out

    def obey(self, now: int, command: Command, source: str, out: list[Delivery]) -> Outcome:
        if command.do == "scene":
            assert command.scene is not None
            number = self.find(command.scene)
            if number is None:
                return self.outcome("scene", False, f"there is no scene {command.scene}; nothing changed", source)
            self.setlist.move_to(number)
            return self._switch(now, number, "scene", source, out)
        if command.do == "first":
            self.setlist.place = 0
            return self._switch(now, self.setlist.numbers[0], "first", source, out)
        if command.do in ("next", "back"):
            return self._step(now, command.do, source, out)
        if command.do == "panic":
            return self._panic(now, source, out)
        if command.do == "tap":
            return self._tap(now, source)
        if command.do in ("mute", "unmute", "send"):
            return self._with_control(now, command, source, out)
        if command.do.startswith(("clock ", "timecode ")):
            part, what = command.do.split()
            return self.obey_sync(now, part, what, None, source, out)
        return self._resend(now, source, out)

    def _step(self, now: int, do: str, source: str, out: list[Delivery]) -> Outcome:
        step = 1 if do == "next" else -1
        number = self.setlist.beside(step)
        if number is None:
            end = "the end" if step > 0 else "the beginning"
            return self.outcome(do, False, f"{end} of {self.setlist.name}; nothing changed", source)
        self.setlist.go(step)
        return self._switch(now, number, do, source, out)

    def _switch(self, now: int, number: int, do: str, source: str, out: list[Delivery]) -> Outcome:
        """The atomic scene change: one reference, then what the old scene leaves behind, then the burst."""
        plan = self.plans[number]
        if plan is not self.plan:
            self._change(now, plan, out)
        for output, message in self.ledger.settle(plan.feeds):
            self.wires[output].put(now, (message,), out)
        return self._send_burst(now, plan, do, f"scene {plan.number} {plan.name}", source, out)

    def _change(self, now: int, plan: Plan, out: list[Delivery]) -> None:
        plan.enter()
        plan.mute(frozenset(self.muted))
        self.plan = plan
        self.loops.lift(now)
        self._judge(now, out)
        self._forget_later(now, {player(source, False) for source in range(len(self.inputs))}, out)
        if plan.cuts:
            for output, message in self.ledger.cut():
                self.wires[output].put(now, (message,), out)

    def _resend(self, now: int, source: str, out: list[Delivery]) -> Outcome:
        if self.plan is None:
            return self.outcome("resend", False, "no scene is in force yet; nothing was sent", source)
        text = f"scene {self.plan.number} {self.plan.name} sent again"
        return self._send_burst(now, self.plan, "resend", text, source, out)

    def _send_burst(self, now: int, plan: Plan, do: str, text: str, source: str, out: list[Delivery]) -> Outcome:
        for wire in self.wires:  # every wire: an earlier burst that has not begun is replaced, also by nothing
            listed = plan.bursts.get(wire.output, ())
            self.ledger.select(wire.output, (message for step in listed for message in step.unit))
            wire.burst(now, listed, out)
        steps = [(self.wires[output].speed, listed) for output, listed in plan.bursts.items()]
        return self.outcome(
            do,
            True,
            text,
            source,
            burst_bytes=sum(size(listed) for _, listed in steps),
            ready_ns=max((duration(listed, speed) for speed, listed in steps), default=0),
        )

    def _panic(self, now: int, source: str, out: list[Delivery]) -> Outcome:
        """Known notes off, pedals up, all notes and all sound off, bends to centre, on every output."""
        held = self.ledger.sounding()
        messages: dict[int, list[bytes]] = {wire.output: [] for wire in self.wires}
        for output, message in [*self.ledger.cut(), *self.ledger.settle(lambda *_: False)]:
            messages[output].append(message)
        self.ledger.forget_keys()
        self.timetable.forget(self.timetable.players)
        for wire in self.wires:
            wire.panic(now, messages[wire.output] + list(SWEEP), out)
        text = f"panic: {held} notes released, everything silenced on {len(self.wires)} outputs"
        return self.outcome("panic", True, text, source)

    def send(self, now: int, messages: Iterable[tuple[int, bytes]]) -> list[Delivery]:
        """Messages for outputs that no input sent."""
        out: list[Delivery] = []
        self._put_all(now, messages, out)
        return out

    def begin(self, now: int) -> list[Delivery]:
        """What is to run from the start runs: the rig's clock, its time code."""
        out: list[Delivery] = []
        self._put_all(now, self.sync.begin(now), out)
        return out

    def command_sync(self, now: int, part: str, what: str, value: float | str | None) -> tuple[Outcome, list[Delivery]]:
        """To our own clock ("clock") or time code ("timecode"): start, stop, continue, tempo, locate."""
        out: list[Delivery] = []
        return self.obey_sync(now, part, what, value, "shell", out), out

    def obey_sync(
        self, now: int, part: str, what: str, value: float | str | None, source: str, out: list[Delivery]
    ) -> Outcome:
        done, text, sent = command(self.sync, now, part, what, value)
        self._put_all(now, sent, out)
        self._recall_cues(now, out)
        return self.outcome(part, done, text, source)

    def _with_control(self, now: int, asked: Command, source: str, out: list[Delivery]) -> Outcome:
        control = asked.control
        assert control is not None  # only a control can ask for these
        if asked.do == "send":
            assert control.output is not None
            output = self.outputs.index(control.output)
            self._put_all(now, ((output, message) for message in control.messages), out)
            return self.outcome("send", True, f"{len(control.messages)} messages sent to {control.output}", source)
        assert control.route is not None
        return self.mute(now, control.route, asked.do == "mute", source, out)

    def mute(self, now: int, route: str, on: bool, source: str, out: list[Delivery]) -> Outcome:
        """A named route carries nothing, in every scene, until it is unmuted; what it moved comes to rest."""
        do = "mute" if on else "unmute"
        if on and route not in self._route_names:
            return self.outcome(do, False, f'there is no route named "{route}"; nothing changed', source)
        if (route in self.muted) == on:
            return self.outcome(do, False, f"{route} is {'muted' if on else 'not muted'} already", source)
        (self.muted.add if on else self.muted.discard)(route)
        if self.plan is not None:
            self.plan.mute(frozenset(self.muted))
            self._put_all(now, self.ledger.settle(self.plan.feeds), out)
        return self.outcome(do, True, f"{route} {'muted' if on else 'plays again'}", source)

    def _tap(self, now: int, source: str) -> Outcome:
        if self.sync.clock is None:
            return self.outcome("tap", False, "this rig has no clock of its own; the tap changed nothing", source)
        self.sync.clock.tap(now)
        return self.outcome("tap", True, f"tempo {self.sync.clock.bpm:.1f}", source)

    def outcome(self, do: str, done: bool, text: str, source: str, burst_bytes: int = 0, ready_ns: int = 0) -> Outcome:
        held = self.ledger.sounding()
        return Outcome(do, done, text, source, self.scene, burst_bytes, ready_ns, held)

    def _first_setlist(self) -> SetList:
        if not self.rig.setlists:
            return SetList("the scenes", [scene.number for scene in self.rig.scenes])
        first = self.rig.setlists[0]
        return SetList(f"the set list {first.name}", self._numbers(first.scenes))

    def _numbers(self, scenes: Sequence[int | str]) -> list[int]:
        found = [self.find(scene) for scene in scenes]
        return [number for number in found if number is not None]  # the rig's checks saw to it that none is None

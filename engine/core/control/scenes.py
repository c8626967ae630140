"""The scenes of a rig and what commands do with them: recall, set lists, panic, mute, clock and time code.

Who commands (a control, a machine, the shell) is not known here: see `bay`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from engine.core.cable.output_cable import Delivery
from engine.core.cable.program_burst import duration, size
from engine.core.cable.silencing_messages import SWEEP
from engine.core.cable.speed import CableSpeed
from engine.core.command_result import CommandResult
from engine.core.control.controls import Command, switchboards
from engine.core.control.remote_messages import RemoteReader, RemoteRequest
from engine.core.control.setlist import SetListPlace, ShowPosition
from engine.core.routing.compiled_scene import CompiledScene, FilterFaults, RoutePath, SceneCompiler
from engine.core.routing.delayed_messages import NOBODY, player
from engine.core.routing.ledger import Moved, made_of, moves_of, selects_of
from engine.core.routing.router import Router
from engine.core.timing.sync_commands import command
from engine.midi.show_control import ALL_CALL
from engine.plurals import counted
from engine.rig.models.rig import Rig
from filters.registry import Filter, registry


class Scenes(Router):
    """A rig that routes and is commanded, but hears no commands among its messages. Loop only."""

    def __init__(
        self,
        rig: Rig,
        speeds: Mapping[str, CableSpeed | None] | None = None,
        filters: Mapping[str, Filter] | None = None,
        names: tuple[Sequence[str], Sequence[str]] = ((), ()),
        far: Iterable[str] = (),
    ) -> None:
        """Compile every scene of a rig.

        `speeds`: how the driver of a fast output is to be paced, None for not at all; `din` outputs are paced as
        their cable is, whatever the driver could take. `names`: inputs and outputs that have places already.
        `far`: outputs whose cable is at another machine.
        """
        super().__init__(rig, speeds or {}, names, far)
        self.faults = FilterFaults()
        self.outcomes: list[CommandResult] = []  # commands from controls since last taken away by the caller
        known = registry() if filters is None else filters
        compiler = SceneCompiler(rig, known, self.faults, self.inputs, self.outputs)
        self.plans = {scene.number: compiler.plan(scene) for scene in rig.scenes}
        self._numbers_by_name = {scene.name: scene.number for scene in rig.scenes}
        self.boards = switchboards(rig.controls, self.inputs)
        self.setlists = self._all_setlists()
        self.setlist = next(iter(self.setlists.values()))
        self.muted: set[str] = set()  # names of routes that carry nothing
        self.led_by: str | None = None  # the machine that is in charge, where this engine follows another
        routes = (*rig.routes, *(route for scene in rig.scenes for route in scene.routes))
        self._route_names = {route.name for route in routes if route.name is not None}
        self.asked: list[tuple[int, RemoteRequest]] = []  # what the show is to carry out, taken away by it
        remote = rig.remote
        self.device = remote.device if remote else ALL_CALL
        self.reply_to = tuple(self.outputs.index(name) for name in dict.fromkeys(remote.to if remote else ()))
        self.remote = RemoteReader(self.device, remote.programs if remote else False)
        self.remote_inputs = {self.inputs.index(name) for name in (remote.inputs if remote else ())}
        self.kept_back: set[int] = set()  # inputs whose SysEx is being written down and goes nowhere else

    def _begin_anew(self, which: Callable[[int, RoutePath], bool]) -> None:
        """Filters with state forget what they were told, in whatever scene."""
        lasting: dict[RoutePath, RoutePath] = {}
        in_force = () if self.plan is None else (self.plan,)  # which an edit may have taken out of the rig
        for plan in {*self.plans.values(), *in_force}:
            plan.begin_anew(which, lasting)

    def command(self, now: int, do: str, scene: int | str | None, source: str) -> tuple[CommandResult, list[Delivery]]:
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

    @property
    def standing(self) -> ShowPosition | None:
        """Where the show is; None before the first scene."""
        if self.plan is None:
            return None
        return ShowPosition(self.plan.number, self.setlist.name or "", self.setlist.place)

    def resume(self, standing: ShowPosition) -> None:
        """Take up the set list and the place in it where another engine stood; its scene is yet to be recalled."""
        self.setlist = self.setlists.get(standing.setlist, self.setlist)
        self.setlist.resume(standing)

    def begin(self, now: int) -> list[Delivery]:
        """What is to run from the start runs: the rig's clock, its time code."""
        out: list[Delivery] = []
        self._put_all(now, self.sync.begin(now), out)
        return out

    def command_sync(
        self, now: int, part: str, what: str, value: float | str | None
    ) -> tuple[CommandResult, list[Delivery]]:
        """To our own clock ("clock") or time code ("timecode"): start, stop, continue, tempo, locate."""
        out: list[Delivery] = []
        return self.obey_sync(now, part, what, value, "shell", out), out

    def obey_sync(
        self, now: int, part: str, what: str, value: float | str | None, source: str, out: list[Delivery]
    ) -> CommandResult:
        """The same, for whoever asks."""
        if self.led_by is not None:
            return self._refuse(part, source)
        done, text, sent = command(self.sync, now, part, what, value)
        self._put_all(now, sent, out)
        self._recall_cues(now, out)
        return self.outcome(part, done, text, source)

    def send(self, now: int, messages: Iterable[tuple[int, bytes]]) -> list[Delivery]:
        """Messages for outputs that no input sent."""
        out: list[Delivery] = []
        self._put_all(now, messages, out)
        return out

    def mute(self, now: int, route: str, on: bool, source: str, out: list[Delivery]) -> CommandResult:
        """A named route carries nothing, in every scene, until it is unmuted; what it moved comes to rest."""
        do = "mute" if on else "unmute"
        if self.led_by is not None:
            return self._refuse(do, source)
        if on and route not in self._route_names:
            return self.outcome(do, False, f'there is no route named "{route}"; nothing changed', source)
        if (route in self.muted) == on:
            return self.outcome(do, False, f"{route} is {'muted' if on else 'not muted'} already", source)
        self.muted ^= {route}
        if self.plan is not None:
            self.plan.mute(frozenset(self.muted))
            if on:  # what its filters were to end they will not hear of
                self._begin_anew(lambda at, path: path.route == route)
                self._forget_later(now, {player(*each) for each in self.plan.keeping_state(route)}, out)
            self._put_all(now, self.ledger.settle(self.feeds), out)
        return self.outcome(do, True, f"{route} {'muted' if on else 'plays again'}", source)

    def finish(self, now: int) -> list[Delivery]:
        """End of the show: our own clock stops, and everything comes to rest."""
        out: list[Delivery] = []
        if self.led_by is None:  # else it runs on where it is led
            self._put_all(now, self.sync.finish(now), out)
        return out + self.release_all(now)

    def awake(self, now: int) -> tuple[CommandResult, list[Delivery]]:
        """The machine has slept: nothing that was held or moved is sure any more, so all is released and sent again."""
        self.sensing.excuse(now)
        for board in self.boards:
            if board is not None:
                board.forget()
        self._begin_anew(lambda at, path: True)
        out = self.release_all(now)
        self.ledger.forget_keys()
        return self._resend(now, "wake-up", out), out

    def _refuse(self, do: str, source: str) -> CommandResult:
        return self.outcome(do, False, f"{self.led_by} is in charge; nothing changed here", source)

    def obey(self, now: int, command: Command, source: str, out: list[Delivery]) -> CommandResult:
        if self.led_by is not None:
            return self._refuse(command.do, source)
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
        if command.do == "entry":
            return self._go_to_entry(now, command, source, out)
        if command.do == "setlist":
            return self._choose_setlist(command, source)
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

    def feeds(self, source: int, message: bytes, moved: Moved) -> bool:
        """Whether this input's message still moves this thing in the scene in force; what controls sent stays."""
        if source == NOBODY:
            return True
        return self.plan is not None and not self.consumes(source, message) and self.plan.feeds(source, message, moved)

    def consumes(self, source: int, message: bytes) -> bool:
        """Whether a control takes this input's message in the scene in force, so that no route hears it."""
        board = self.boards[source] if source != NOBODY else None
        return board is not None and board.owns(message, self.scene)

    def _step(self, now: int, do: str, source: str, out: list[Delivery]) -> CommandResult:
        step = 1 if do == "next" else -1
        number = self.setlist.beside(step)
        if number is None:
            end = "the end" if step > 0 else "the beginning"
            return self.outcome(do, False, f"{end} of {self.setlist.words}; nothing changed", source)
        self.setlist.go(step)
        return self._switch(now, number, do, source, out)

    def _go_to_entry(self, now: int, command: Command, source: str, out: list[Delivery]) -> CommandResult:
        last = len(self.setlist.numbers)
        if not isinstance(command.scene, int) or not 1 <= command.scene <= last:
            text = f"{self.setlist.words} has no entry {command.scene}, but 1 to {last}; nothing changed"
            return self.outcome("entry", False, text, source)
        self.setlist.place = command.scene - 1
        return self._switch(now, self.setlist.numbers[self.setlist.place], "entry", source, out)

    def _choose_setlist(self, command: Command, source: str) -> CommandResult:
        """The scene in force stays; where the new list has it, the show stands there, else before its first."""
        chosen = self.setlists.get(str(command.scene))
        if chosen is None:
            known = ", ".join(name for name in self.setlists if name) or "none"
            text = f"there is no set list {command.scene}; there is {known}; nothing changed"
            return self.outcome("setlist", False, text, source)
        if chosen is not self.setlist:
            self.setlist, chosen.place = chosen, -1
            if self.plan is not None:
                chosen.move_to(self.plan.number)
        following = chosen.beside(1)
        then = f"next is scene {following} {self.plans[following].name}" if following is not None else "at its end"
        return self.outcome("setlist", True, f"{chosen.words}, {then}", source)

    def _switch(self, now: int, number: int, do: str, source: str, out: list[Delivery]) -> CommandResult:
        """The atomic scene change: one reference, then what the old scene leaves behind, then the burst."""
        plan = self.plans[number]
        if self.plan is None:  # the start
            for output, steps in self.setups.items():
                self.cables[output].burst(now, steps, out)
        if plan is not self.plan:
            self._change(now, plan, out)
        for output, message in self.ledger.settle(self.feeds):
            self.cables[output].put(now, (message,), out)
        return self._send_burst(now, plan, do, f"scene {plan.number} {plan.name}", source, out)

    def _change(self, now: int, plan: CompiledScene, out: list[Delivery]) -> None:
        plan.enter()
        plan.mute(frozenset(self.muted))
        before, self.plan = self.plan, plan
        self.loops.lift()
        self._forget_later(now, {player(source, False) for source in range(len(self.inputs))}, out)
        if before is not None and not plan.shares_lasting_routes(before):
            self.end_later(now, out)
        if plan.cuts:
            for output, message in self.ledger.cut():
                self.cables[output].put(now, (message,), out)

    def _resend(self, now: int, source: str, out: list[Delivery]) -> CommandResult:
        if self.plan is None:
            return self.outcome("resend", False, "no scene is in force yet; nothing was sent", source)
        text = f"scene {self.plan.number} {self.plan.name} sent again"
        return self._send_burst(now, self.plan, "resend", text, source, out)

    def _send_burst(
        self, now: int, plan: CompiledScene, do: str, text: str, source: str, out: list[Delivery]
    ) -> CommandResult:
        for cable in self.cables:  # every wire: an earlier burst that has not begun is replaced, also by nothing
            cable.burst(now, plan.bursts.get(cable.output, ()), out)
        for output, listed in plan.bursts.items():
            self.ledger.select(output, [message for step in listed for message in step.unit])
        steps = [(self.cables[output].speed, listed) for output, listed in plan.bursts.items()]
        return replace(
            self.outcome(do, True, text, source),
            burst_bytes=sum(size(listed, speed) for speed, listed in steps),
            ready_ns=max((duration(listed, speed) for speed, listed in steps), default=0),
            instruments=sum(len(listed) for _, listed in steps),
        )

    def _panic(self, now: int, source: str, out: list[Delivery]) -> CommandResult:
        """Known notes off, pedals up, all notes and all sound off, bends to centre, on every output."""
        held = self.ledger.sounding()
        self.timetable.forget(self.timetable.players)
        for cable in self.cables:
            self._silence(now, cable, SWEEP, out)
        self.ledger.forget_keys()
        outputs = counted(len(self.cables), "output")
        text = f"panic: {counted(held, 'note')} released, everything silenced on {outputs}"
        return self.outcome("panic", True, text, source)

    def _with_control(self, now: int, asked: Command, source: str, out: list[Delivery]) -> CommandResult:
        control = asked.control
        assert control is not None, "only a control can ask for these"
        if asked.do == "send":
            assert control.output is not None, "the rig's checks saw to it"
            output, messages = self.outputs.index(control.output), control.messages
            for message in messages:  # nobody's key holds these, and nobody's route feeds them
                moves = moves_of(output, (message,)) + made_of(output, (message,))
                self.ledger.move(NOBODY, message, moves)
            self.ledger.select(output, selects_of(messages))
            self._put_all(now, ((output, message) for message in messages), out)
            return self.outcome("send", True, f"{len(control.messages)} messages sent to {control.output}", source)
        assert control.route is not None, "the rig's checks saw to it"
        return self.mute(now, control.route, asked.do == "mute", source, out)

    def _tap(self, now: int, source: str) -> CommandResult:
        if self.sync.clock is None:
            return self.outcome("tap", False, "this rig has no clock of its own; the tap changed nothing", source)
        self.sync.clock.tap(now)
        return self.outcome("tap", True, f"tempo {self.sync.clock.bpm:.1f}", source)

    def _recall_cues(self, now: int, out: list[Delivery]) -> None:
        """The time code has reached scenes that wait for it."""
        numbers, self.sync.cues.recalls = self.sync.cues.recalls, []
        for number in numbers if self.led_by is None else ():
            self.outcomes.append(self.obey(now, Command("scene", number), "time code", out))

    def outcome(self, do: str, done: bool, text: str, source: str) -> CommandResult:
        """What became of a command, as things now stand."""
        return CommandResult(do, done, text, source, self.scene, held=self.ledger.sounding())

    def _all_setlists(self) -> dict[str, SetListPlace]:
        """By name, in the rig's order; the scenes as they stand there if it has none."""
        if not self.rig.setlists:
            return {"": SetListPlace(None, [scene.number for scene in self.rig.scenes])}
        return {one.name: SetListPlace(one.name, self._numbers(one.scenes)) for one in self.rig.setlists}

    def _numbers(self, scenes: Sequence[int | str]) -> list[int]:
        found = [self.find(scene) for scene in scenes]
        return [number for number in found if number is not None]  # the rig's checks saw to it that none is None

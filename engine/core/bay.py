"""The whole router as a state machine: messages, recalls and time go in; deliveries come out.

Here is what players and machines command: scenes, set lists, panic, clock. `router` has the way of a message. `due`
says when `tick` is wanted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine.core.burst import duration, size
from engine.core.controls import Command, switchboards
from engine.core.later import player
from engine.core.plan import Compiler, Faults, Plan
from engine.core.router import Router
from engine.core.setlist import SetList
from engine.core.silence import SWEEP
from engine.core.synccommands import command
from engine.core.wire import Delivery, Speed
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


class Bay(Router):
    """A rig that routes and is commanded. Loop only."""

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
        super().__init__(rig, speeds or {}, names)
        self.faults = Faults()
        self.outcomes: list[Outcome] = []  # commands from controls since last taken away by the caller
        known = registry() if filters is None else filters
        compiler = Compiler(rig, known, self.faults, self.inputs, self.outputs)
        self.plans = {scene.number: compiler.plan(scene) for scene in rig.scenes}
        self._numbers_by_name = {scene.name: scene.number for scene in rig.scenes}
        self._boards = switchboards(rig.controls, self.inputs)
        self.setlist = self._first_setlist()

    def receive(self, now: int, source: int, message: bytes) -> list[Delivery]:
        """One whole message of input `source`."""
        out: list[Delivery] = []
        if self._hear(now, source, message, out):
            return out
        if self.sync.cues.recalls:
            self._recall_cues(now, out)
        board = self._boards[source]
        if board is not None and (trigger := board.find(message)) is not None:
            if board.passes(trigger):
                self._route(now, source, message, out)
            asked = board.act(now, trigger)
            if asked is not None:
                self.outcomes.append(self._obey(now, asked, self.inputs[source], out))
            return out
        self._route(now, source, message, out)
        return out

    def tick(self, now: int) -> list[Delivery]:
        """What has waited for this time."""
        out = super().tick(now)
        if self.sync.cues.recalls:
            self._recall_cues(now, out)
        return out

    def command(self, now: int, do: str, scene: int | str | None, source: str) -> tuple[Outcome, list[Delivery]]:
        """Scene, next, back, panic or resend, from outside."""
        out: list[Delivery] = []
        return self._obey(now, Command(do, scene), source, out), out

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

    def begin(self, now: int) -> list[Delivery]:
        """What is to run from the start runs: the rig's clock, its time code."""
        out: list[Delivery] = []
        self._put_all(now, self.sync.begin(now), out)
        return out

    def command_sync(self, now: int, part: str, what: str, value: float | str | None) -> tuple[Outcome, list[Delivery]]:
        """To our own clock ("clock") or time code ("timecode"): start, stop, continue, tempo, locate."""
        out: list[Delivery] = []
        done, text, sent = command(self.sync, now, part, what, value)
        self._put_all(now, sent, out)
        self._recall_cues(now, out)
        return self._outcome(part, done, text, "shell"), out

    def awake(self, now: int) -> tuple[Outcome, list[Delivery]]:
        """The machine has slept: nothing that was held or moved is sure any more, so all is released and sent again."""
        self.sensing.excuse(now)
        out = self.release_all(now)
        self.ledger.forget_keys()
        return self._resend(now, "wake-up", out), out

    def _obey(self, now: int, command: Command, source: str, out: list[Delivery]) -> Outcome:
        if command.do == "scene":
            assert command.scene is not None
            number = self.find(command.scene)
            if number is None:
                return self._outcome("scene", False, f"there is no scene {command.scene}; nothing changed", source)
            self.setlist.move_to(number)
            return self._switch(now, number, "scene", source, out)
        if command.do in ("next", "back"):
            return self._step(now, command.do, source, out)
        if command.do == "panic":
            return self._panic(now, source, out)
        if command.do == "tap":
            return self._tap(now, source)
        return self._resend(now, source, out)

    def _step(self, now: int, do: str, source: str, out: list[Delivery]) -> Outcome:
        step = 1 if do == "next" else -1
        number = self.setlist.beside(step)
        if number is None:
            end = "the end" if step > 0 else "the beginning"
            return self._outcome(do, False, f"{end} of {self.setlist.name}; nothing changed", source)
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
        before, self.plan = self.plan, plan
        self.loops.lift()
        self._forget_later(now, {player(source, False) for source in range(len(self.inputs))}, out)
        if before is not None and not plan.shares_lasting_routes(before):
            self.end_later(now, out)
        if plan.cuts:
            for output, message in self.ledger.cut():
                self.wires[output].put(now, (message,), out)

    def _resend(self, now: int, source: str, out: list[Delivery]) -> Outcome:
        if self.plan is None:
            return self._outcome("resend", False, "no scene is in force yet; nothing was sent", source)
        text = f"scene {self.plan.number} {self.plan.name} sent again"
        return self._send_burst(now, self.plan, "resend", text, source, out)

    def _send_burst(self, now: int, plan: Plan, do: str, text: str, source: str, out: list[Delivery]) -> Outcome:
        for wire in self.wires:  # every wire: an earlier burst that has not begun is replaced, also by nothing
            listed = plan.bursts.get(wire.output, ())
            self.ledger.select(wire.output, (message for step in listed for message in step.unit))
            wire.burst(now, listed, out)
        steps = [(self.wires[output].speed, listed) for output, listed in plan.bursts.items()]
        return self._outcome(
            do,
            True,
            text,
            source,
            burst_bytes=sum(size(listed, speed) for speed, listed in steps),
            ready_ns=max((duration(listed, speed) for speed, listed in steps), default=0),
        )

    def _panic(self, now: int, source: str, out: list[Delivery]) -> Outcome:
        """Known notes off, pedals up, all notes and all sound off, bends to centre, on every output."""
        held = self.ledger.sounding()
        self.timetable.forget(self.timetable.players)
        for wire in self.wires:
            self._silence(now, wire, SWEEP, out)
        self.ledger.forget_keys()
        text = f"panic: {held} notes released, everything silenced on {len(self.wires)} outputs"
        return self._outcome("panic", True, text, source)

    def _tap(self, now: int, source: str) -> Outcome:
        if self.sync.clock is None:
            return self._outcome("tap", False, "this rig has no clock of its own; the tap changed nothing", source)
        self.sync.clock.tap(now)
        return self._outcome("tap", True, f"tempo {self.sync.clock.bpm:.1f}", source)

    def _recall_cues(self, now: int, out: list[Delivery]) -> None:
        """The time code has reached scenes that wait for it."""
        numbers, self.sync.cues.recalls = self.sync.cues.recalls, []
        for number in numbers:
            self.outcomes.append(self._obey(now, Command("scene", number), "time code", out))

    def _outcome(self, do: str, done: bool, text: str, source: str, burst_bytes: int = 0, ready_ns: int = 0) -> Outcome:
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

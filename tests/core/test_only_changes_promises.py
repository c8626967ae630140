"""Only what changed goes out, and every channel is on the sound of its scene: against a receiver of our own.

Sounds of scenes have bank and program bytes from 100; what is played stays below 64.
"""

from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.commands import OutputLost, Resend
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from tests.support.engine_calls import adopt, apply, command, engine_of, output_there
from tests.support.pit_engine import MS

#: output, channel and settle time (ms) of each instrument; the tuba gets its program at every recall
GEAR: Final = {"lead": (0, 0, 30), "second": (0, 1, 0), "third": (0, 2, 5), "horn": (1, 0, 20), "tuba": (1, 1, 0)}
OUTPUTS: Final = ("strings", "brass")
HEAD: Final = """
format = 2
[inputs]
keys = { port = "a" }
[outputs]
strings = { port = "d", wire = "din" }
brass = { port = "e" }
[[routes]]
from = "keys"
to = ["strings", "brass"]
""" + "".join(
    f'[instruments.{name}]\noutput = "{OUTPUTS[output]}"\nchannel = {channel + 1}\nsettle = "{settle} ms"\n'
    + "always = true\n" * (name == "tuba")
    for name, (output, channel, settle) in GEAR.items()
)

_sound = st.sampled_from(["bank = [100, 101], program = 101", "bank = [100, 102], program = 101", "program = 102"])
_burst = st.lists(st.tuples(st.sampled_from(list(GEAR)), _sound), max_size=5, unique_by=lambda step: step[0])


@st.composite
def rigs(draw: st.DrawFn) -> str:
    """A rig with three scenes; no two rigs differ in anything but their sounds."""
    text = HEAD
    for number in (1, 2, 3):
        steps = ", ".join(f'{{ instrument = "{name}", {sound} }}' for name, sound in draw(_burst))
        text += f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nburst = [ {steps} ]\n'
    return text


_selecting = st.one_of(
    st.tuples(st.sampled_from([0xC0, 0xC1, 0xC2]), st.integers(0, 63)),
    st.tuples(st.sampled_from([0xB0, 0xB1, 0xB2]), st.sampled_from([0, 32]), st.integers(0, 63)),
).map(bytes)
_other = st.tuples(st.sampled_from([0x90, 0x91, 0x92]), st.integers(0, 127), st.integers(1, 127)).map(bytes)
_recall = st.tuples(st.just("recall"), st.integers(1, 3))
EVENTS: Final = st.lists(
    st.one_of(
        _recall,
        _recall,
        st.tuples(st.just("recall at rest"), st.integers(1, 3)),
        st.tuples(st.just("play"), _selecting),
        st.tuples(st.just("play"), _other),
        st.tuples(st.just("chord"), st.just(0)),
        st.tuples(st.just("wait"), st.sampled_from([1, 2, 4, 9, 40])),
        st.tuples(st.just("rest"), st.just(0)),
        st.tuples(st.just("resend"), st.just(0)),
        st.tuples(st.just("panic"), st.just(0)),
        st.tuples(st.just("edit"), st.integers(0, 1)),
        st.tuples(st.just("pull"), st.integers(0, 1)),
        st.tuples(st.just("plug in"), st.integers(0, 1)),
    ),
    max_size=40,
)

_Sound = tuple[int | None, int | None, int]  # MSB, LSB, program; None: never sent


class Module:
    """What is on one output: its banks and sounds as far as it was told, written from MIDI 1.0 p. 12 and 13."""

    def __init__(self) -> None:
        self.bank: dict[int, tuple[int | None, int | None]] = {}
        self.sound: dict[int, _Sound] = {}
        self._within: list[bytes] = []  # of a scene's triple

    def hear(self, message: bytes) -> None:
        if message[0] >= 0xF8:
            return
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if self._within:
            wanted = [(0xB0, 32), (0xC0, message[1])][len(self._within) - 1]
            assert (kind, message[1]) == wanted, "a triple is torn"
            assert channel == self._within[0][0] & 0x0F, "a triple is torn"
        if kind == 0xB0 and message[2] >= 100 and message[1] == (32 if self._within else 0):
            self._within.append(message)
        high, low = self.bank.get(channel, (None, None))
        if kind == 0xB0 and message[1] == 0:
            self.bank[channel] = (message[2], None)
        elif kind == 0xB0 and message[1] == 32:
            self.bank[channel] = (high, message[2])
        elif kind == 0xC0:
            self.sound[channel] = (high, low, message[1])
            self._within.clear()

    def after(self, channel: int, step: Any) -> tuple[object, object]:
        """Its bank and sound on this channel if it got this step."""
        bank = tuple(step.bank) if step.bank else self.bank.get(channel, (None, None))
        return bank, (*bank, step.program - 1)

    def on(self, channel: int) -> tuple[object, object]:
        return self.bank.get(channel, (None, None)), self.sound.get(channel)


class Stage:
    """A router, its time and what is on its outputs, None while one is pulled."""

    def __init__(self, texts: list[str]) -> None:
        self.rigs = [read(text, "test") for text in texts]
        self.rig = self.rigs[0]
        self.router = engine_of(self.rig)
        self.now = 0
        self.modules: list[Module | None] = [Module(), Module()]
        self.scene = 1
        self.played: set[int] = set()  # channels that a player has put on something since the last recall
        self.sent: list[tuple[int, bytes]] = []
        self.take(command(self.router, 0, "scene", 1)[1])

    def take(self, out: list[Delivery]) -> None:
        for output, message, _ in out:
            self.sent.append((output, message))
            module = self.modules[output]
            if module is not None:
                module.hear(message)

    def wait(self, until: int) -> None:
        while (due := self.router.due) is not None and due <= until:
            self.now = max(self.now, due)
            self.take(self.router.tick(self.now))
        self.now = max(self.now, until)

    def rest(self) -> None:
        while self.router.waiting and self.router.due is not None:
            self.wait(self.router.due)

    def steps(self, number: int) -> list[tuple[int, int, str, Any]]:
        """Output, channel, instrument and step."""
        scene = self.rig.scene(number)
        assert scene is not None
        return [(*GEAR[step.instrument or ""][:2], step.instrument or "", step) for step in scene.burst]

    def recall(self, number: int) -> None:
        self.take(command(self.router, self.now, "scene", number)[1])
        self.scene = number
        self.played.clear()

    def recall_at_rest(self, number: int) -> None:
        """Exactly what is not as it should be is sent, the rest left out."""
        self.rest()
        changed = [
            (output, channel)
            for output, channel, name, step in self.steps(number)
            if (module := self.modules[output]) is not None
            and (number == self.scene or name == "tuba" or module.after(channel, step) != module.on(channel))
        ]
        self.sent.clear()
        self.recall(number)
        self.rest()
        programs = [(output, m[0] & 0x0F) for output, m in self.sent if m[0] & 0xF0 == 0xC0 and self.modules[output]]
        assert sorted(programs) == sorted(changed)

    def check(self) -> None:
        """Every channel that the scene names is on its sound."""
        for output, channel, _, step in self.steps(self.scene):
            module = self.modules[output]
            if module is not None and channel not in self.played:
                sound = module.sound[channel]
                assert sound[2] == step.program - 1
                assert step.bank is None or sound[:2] == tuple(step.bank)

    def perform(self, what: str, which: Any) -> None:
        router, now = self.router, self.now
        match what:
            case "recall":
                self.recall(which)
            case "recall at rest":
                self.recall_at_rest(which)
            case "play":
                if which[0] & 0xF0 != 0x90:
                    self.played.add(which[0] & 0x0F)
                self.take(router.receive(now, 0, which))
            case "chord":
                for key in range(40, 52):
                    self.take(router.receive(now, 0, bytes((0x90, key, 64))))
            case "wait":
                self.wait(now + which * MS)
            case "rest":
                self.rest()
                self.check()
            case "resend":
                self.take(apply(router, now, Resend()))
            case "panic":
                self.take(command(router, now, "panic")[1])
            case "edit":
                self.edit(self.rigs[which])
            case "pull":
                self.take(apply(router, now, OutputLost(OUTPUTS[which])))
                self.modules[which] = None
            case "plug in" if self.modules[which] is None:
                self.modules[which] = Module()
                self.take(output_there(router, now, which))

    def edit(self, rig: Rig) -> None:
        self.rig = rig
        self.take(adopt(self.router, self.now, rig))


@pytest.mark.slow
@given(st.lists(rigs(), min_size=2, max_size=2), EVENTS)
@settings(max_examples=150, deadline=None)
def test_every_channel_is_on_its_sound_and_only_changes_go_out(texts: list[str], events: list[tuple[str, Any]]) -> None:
    """Whatever is recalled, played, edited, pulled and plugged in, at any speed: once the cables are idle each channel
    that the scene names is on its sound, a recall sends exactly what differs, and no triple is torn."""
    stage = Stage(texts)
    for event in events:
        stage.perform(*event)
    stage.rest()
    stage.check()

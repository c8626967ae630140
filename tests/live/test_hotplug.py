"""Ports that are missing, go and come back; services that die; sleep. In virtual time, on ports in memory."""

import math
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
import trio
import trio.testing

from engine.core.cable.silencing_messages import SWEEP, WHEELS
from engine.core.commands import RecallScene
from engine.live.edit.rig_adoption import adopt, made_ready
from engine.live.hotplug import Hotplug
from engine.live.port_opening import PortOpener, connect
from engine.live.port_reopening import Apart
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.memory import MemoryOutput, MemorySystem
from engine.ports.port import PortError
from engine.rig.models.rig import rig_model
from engine.rig.read.load import read
from tests.support.at_once import at_once
from tests.support.small_show import MS, RIG

S = 1000 * MS
BURST = ["B4 00 00", "B4 20 03", "C4 0B"]
INPUTS, OUTPUTS = ("Stage piano", "Foot controller"), ("Box 1", "Box 2")
SILENCE = [message.hex(" ").upper() for message in (*SWEEP, *WHEELS)]


class Counted(MemorySystem):
    """A system that counts how often an output was opened; opening one twice gives two ports, as real drivers do."""

    def __init__(self, clock: Callable[[], int]) -> None:
        super().__init__("pit", INPUTS, OUTPUTS, clock)
        self.lent: list[MemoryOutput] = []

    def open_output(self, pattern: str) -> MemoryOutput:
        port = super().open_output(pattern)
        mine = MemoryOutput(port.name) if port in self.lent else port
        self.lent.append(mine)
        return mine


class Stand:
    """A show and its hot-plug watch; time is the test's, and the reader's thread is driven by hand."""

    def __init__(
        self, mock_clock: trio.testing.MockClock, text: str = RIG, pulled: tuple[str, ...] = (), apart: Apart = at_once
    ) -> None:
        self.mock_clock = mock_clock
        self.slept = 0
        self.said: list[str] = []
        self.unsayable: str | None = None  # words that cannot be shown
        self.system = Counted(self.now)
        for port in pulled:
            self.system.unplug(port)
        rig = rig_model().model_validate(tomllib.loads(text))
        opener = PortOpener(self.system, virtual=False)
        patch = connect(rig, opener)
        self.reader = InputReader({index: patch.inputs[n] for index, n in enumerate(rig.inputs) if n in patch.inputs})
        self.show = Show(rig, patch, self.reader, clock=self.now, say=self.say)
        self.show.apply(RecallScene(1), "shell")
        self.watch = Hotplug(self.show, opener, lambda: self.now() + self.slept, apart)

    def say(self, text: str) -> None:
        if self.unsayable is not None and self.unsayable in text:
            raise OSError("the terminal has gone")
        self.said.append(text)

    def now(self) -> int:
        return round(self.mock_clock.current_time() * S)

    async def passes(self, seconds: float | int, step: float = 0.05) -> None:
        """Let time pass; whatever is due happens, every `step` seconds."""
        for _ in range(math.ceil(seconds / step)):
            self.mock_clock.jump(step + 0.0001)
            self.play()
            await trio.testing.wait_all_tasks_blocked()
            self.show.pump()

    def play(self, port: str = "", *messages: str) -> None:
        """Let these messages arrive, and give the reader and the show their turn."""
        for message in messages:
            self.system.input(port).push(bytes.fromhex(message))
        self.reader._poll(self.now())
        self.reader._settle()
        self.show.pump()

    def heard(self, port: str) -> list[str]:
        sent = [message.hex(" ").upper() for _, message in self.system.output(port).sent]
        self.system.output(port).sent.clear()
        return sent

    def open(self) -> bool:
        return self.show.ports.missing() == ([], [])


@pytest.fixture
async def stand(mock_clock: trio.testing.MockClock, nursery: trio.Nursery) -> Stand:
    """The show in scene 1, every port open, its burst collected. (On virtual time only if the test takes the clock.)"""
    stand = Stand(mock_clock)
    stand.heard("Box 1")
    nursery.start_soon(stand.watch.run)
    await trio.testing.wait_all_tasks_blocked()
    return stand


async def test_what_is_missing_at_the_start_is_opened_when_it_comes(
    mock_clock: trio.testing.MockClock, nursery: trio.Nursery
) -> None:
    """An input and an output plugged in after the start are in use two seconds later; the output gets the scene."""
    stand = Stand(mock_clock, pulled=("Stage piano", "Box 1"))
    nursery.start_soon(stand.watch.run)
    await stand.passes(5)
    assert not stand.open()
    stand.system.plug("Stage piano")
    stand.system.plug("Box 1")
    await stand.passes(2)
    assert stand.open()
    assert stand.heard("Box 1") == [*SILENCE, *BURST]
    stand.play("Stage piano", "90 3C 40")
    assert stand.heard("Box 1") == ["90 3C 40"]


@pytest.mark.parametrize("port", [*INPUTS, *OUTPUTS])
async def test_what_was_unplugged_is_back_within_two_seconds(
    mock_clock: trio.testing.MockClock, stand: Stand, port: str
) -> None:
    """Any port, however long away, is in use two seconds after it is plugged in; loss and return are reported."""
    for away in (0.0, 0.3, 7.0):
        stand.system.unplug(port)
        await stand.passes(away)
        stand.system.plug(port)
        await stand.passes(2)
        assert stand.open()
    assert sum(f'is open ("{port}")' in said for said in stand.said) == 3
    assert any("was unplugged" in said for said in stand.said)


@pytest.mark.parametrize("away", [0.0, 0.3, 7.0])
async def test_a_service_that_dies_and_comes_back(
    mock_clock: trio.testing.MockClock, stand: Stand, away: float
) -> None:
    """When the MIDI service dies and restarts, every port is in use two seconds later; it is reported once."""
    stand.play("Stage piano", "90 3C 40")
    stand.system.stop()
    await stand.passes(away)
    stand.system.start()
    await stand.passes(2)
    assert stand.open()
    assert stand.heard("Box 1")[-3:] == BURST
    assert sum("the service of the ports is back" in said for said in stand.said) == (away > 0)
    stand.play("Stage piano", "90 3C 40", "80 3C 40")
    assert stand.heard("Box 1") == ["90 3C 40", "80 3C 40"]


async def test_an_output_that_returns_is_silenced_set_to_rest_and_put_on_the_scenes_sounds(
    mock_clock: trio.testing.MockClock, stand: Stand
) -> None:
    """In this order: missed note-offs, silence, rest, and the burst of the scene now in force."""
    stand.play("Stage piano", "90 3C 40", "90 40 40")
    stand.heard("Box 1")
    stand.system.unplug("Box 1")
    await stand.passes(0.5)
    stand.play("Stage piano", "80 40 40")  # the output misses this one
    stand.system.plug("Box 1")
    await stand.passes(2)
    sent = stand.heard("Box 1")
    assert sent[:2] == ["80 3C 40", "80 40 40"]
    assert sent[2:] == [*SILENCE, *BURST]


async def test_the_scene_that_came_meanwhile_is_sent(mock_clock: trio.testing.MockClock, stand: Stand) -> None:
    """The output gets the scene recalled while it was away, and the last sounds of the channels it leaves alone."""
    stand.play("Stage piano", "B1 00 05", "C1 07")
    stand.system.unplug("Box 1")
    await stand.passes(0.5)
    stand.show.apply(RecallScene(2), "shell")  # this scene has no burst for the output
    stand.system.plug("Box 1")
    await stand.passes(2)
    sounds = [each for each in stand.heard("Box 1") if each.split()[0] in ("B4", "C4", "B1", "C1")]
    assert [each for each in sounds if each.startswith(("B4 00", "B4 20", "C4"))] == BURST
    assert [each for each in sounds if each.startswith(("B1 00", "C1"))] == ["B1 00 05", "C1 07"]


async def test_a_port_that_has_another_name_is_reported_and_not_stolen(
    mock_clock: trio.testing.MockClock, nursery: trio.Nursery
) -> None:
    """A second name for a port in use does not get it; the status says why, and it is retried every two seconds."""
    stand = Stand(mock_clock, RIG.replace('port = "Box 2"', 'port = "Box ?"'))
    assert stand.show.ports.missing() == ([], [1])  # two ports match the pattern
    stand.system.unplug("Box 2")
    nursery.start_soon(stand.watch.run)
    before = len(stand.system.lent)
    await stand.passes(10)
    assert len(stand.system.lent) - before in (5, 6)
    assert stand.show.ports.missing() == ([], [1])
    error = stand.show.ports.out_meters[1].last_error
    assert error is not None
    assert "which has another name of the rig already" in error
    stand.play("Stage piano", "90 3C 40")
    assert stand.heard("Box 1")[-1:] == ["90 3C 40"]


async def test_an_output_that_an_edit_renames_is_in_use_within_half_a_second(
    mock_clock: trio.testing.MockClock, stand: Stand
) -> None:
    """At whatever moment between two looks: its port is open under the old name until the last releases have left,
    and does not count as one in use."""
    text = RIG
    for wait in (0.17, 0.18, 0.19):
        await stand.passes(wait, step=0.01)
        text = text.replace("brass", "horns") if "brass" in text else text.replace("horns", "brass")
        adopt(stand.show, made_ready(read(text, "test"), stand.show.engine.state.compiled), text)
        await stand.passes(0.5, step=0.01)
        assert stand.open()


async def test_after_sleep_everything_is_released_and_sent_again(
    mock_clock: trio.testing.MockClock, stand: Stand
) -> None:
    """When the uptime jumps by over two seconds, notes, pedals and bends are released and the scene is sent again."""
    stand.play("Stage piano", "90 3C 40", "B0 40 7F", "E0 00 50")
    stand.heard("Box 1")
    stand.slept += 3600 * S
    await stand.passes(0.3)
    assert stand.heard("Box 1") == ["80 3C 40", "B0 40 00", "E0 00 40", *BURST]
    assert any("woke after 3600 s" in said for said in stand.said)
    await stand.passes(5)
    assert stand.heard("Box 1") == []


async def test_what_the_drivers_had_kept_over_a_sleep_is_released_with_the_rest(
    mock_clock: trio.testing.MockClock, stand: Stand
) -> None:
    """A note read just after waking was played before the sleep, so its release may be lost: it is released, too."""
    stand.slept += 3600 * S
    await stand.passes(0.2)  # the jump of the uptime has just been noticed
    stand.play("Stage piano", "90 3C 40")
    await stand.passes(0.1)
    assert stand.heard("Box 1") == ["90 3C 40", "80 3C 40", *BURST]


async def test_a_busy_moment_is_no_sleep(mock_clock: trio.testing.MockClock, stand: Stand) -> None:
    """A round that comes a second late does not count as sleep."""
    stand.slept += S
    await stand.passes(1)
    assert not any("woke" in said for said in stand.said)


async def test_ports_that_take_long_to_open_are_no_sleep(mock_clock: trio.testing.MockClock) -> None:
    """If the system takes five seconds to look for a missing port, what is held stays held, and nothing is sent."""

    async def slowly(call: Callable[[], Any]) -> Any:
        await trio.sleep(5)
        return call()

    stand = Stand(mock_clock, pulled=("Foot controller",), apart=slowly)
    async with trio.open_nursery() as nursery:
        nursery.start_soon(stand.watch.run)
        stand.play("Stage piano", "90 3C 40")
        stand.heard("Box 1")
        await stand.passes(30)
        assert stand.heard("Box 1") == []
        assert not any("woke" in said for said in stand.said)
        nursery.cancel_scope.cancel()


async def test_a_fault_of_our_own_costs_one_wake_up(mock_clock: trio.testing.MockClock, stand: Stand) -> None:
    """It is reported and counted, and the next sleep is noticed."""
    stand.unsayable = "woke after 3600 s"
    stand.slept += 3600 * S
    await stand.passes(0.5)
    assert stand.show.own_faults == 1
    stand.slept += 60 * S
    await stand.passes(0.5)
    assert any("woke after 60 s" in said for said in stand.said)


async def test_a_fault_of_our_own_costs_one_round(
    mock_clock: trio.testing.MockClock, stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If checking the ports fails, the fault is reported and counted, and the next round checks again."""
    with monkeypatch.context() as patch:
        patch.setattr(stand.system.output("Box 1"), "check", lambda: 1 / 0)
        await stand.passes(1)
    assert stand.show.own_faults > 0
    assert any("a fault of Bayleaf itself: ZeroDivisionError" in said for said in stand.said)
    stand.system.unplug("Box 1")
    stand.system.plug("Box 1")
    await stand.passes(2)
    assert stand.open()
    assert stand.heard("Box 1")[-3:] == BURST


async def test_an_output_that_refused_is_set_right_when_it_takes_messages_again(
    mock_clock: trio.testing.MockClock, stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When a driver that refused for a while takes messages again, silence, rest and the scene are sent."""
    port = stand.system.output("Box 1")
    with monkeypatch.context() as patch:

        def full(message: bytes, at: int = 0) -> None:
            raise PortError("the queue is full")

        patch.setattr(port, "send", full)
        stand.play("Stage piano", "90 3C 40")
        await stand.passes(1)
    stand.heard("Box 1")
    await stand.passes(2)
    assert stand.heard("Box 1")[-len(SILENCE) - 3 :] == [*SILENCE, *BURST]

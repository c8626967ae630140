"""A show whose output is on another machine: what it sends, and when. (Our own design; no outside source.)"""

from pathlib import Path
from typing import Any

import trio
import trio.testing

from engine.core.cable.remote_cable import Order, OrderKind, RemoteCable
from engine.core.cable.silencing_messages import SWEEP
from engine.core.commands import Panic, PlayTestNote, RecallScene
from engine.live.gear.sysex_sending import SysexSending
from engine.live.port_opening import OpenPorts
from engine.live.recording_files import RecordingNames, write
from engine.live.show import Show
from engine.offline.flight_recording import read_recording
from engine.offline.replay import Replay
from engine.ports.memory import MemoryInput
from engine.ports.port import PortGone
from engine.rig.read.load import read
from tests.support.small_show import MS, HandReader

RIG = """
format = 1
[network]
main = "desk"
machine = "desk"
machines.desk.listen = "127.0.0.1:7410"
machines.left.listen = "127.0.0.1:7448"
[inputs]
keys = { port = "Stage piano" }
[outputs]
strings = { port = "Box 1", machine = "left", wire = "din" }
[[scenes]]
number = 1
name = "One"
routes = [ { from = "keys", to = "strings" } ]
burst = [ { output = "strings", channel = 1, program = 4 } ]
"""


class FarAway:
    """An output on another machine that keeps what each turn sent."""

    name = "strings at left"
    flow = None
    longest = None

    def __init__(self) -> None:
        self.turns: list[list[Order]] = []
        self.gone: str | None = None
        self.closed = False

    def join(self, now: int, cable: RemoteCable) -> None:
        self.cable = cable
        cable.live = True

    def flush(self, now: int) -> None:
        if orders := self.cable.take_orders():
            self.turns.append(orders)

    def send(self, message: bytes, at: int = 0) -> None:
        self.check()

    def check(self) -> None:
        if self.gone:
            raise PortGone(self.gone)

    def close(self) -> None:
        self.closed = True
        self.cable.live = False


class Evening:
    """A show in scene 1, and its remote output; `now` is its clock."""

    def __init__(self) -> None:
        self.now = 0
        self.reader = HandReader()
        self.port = FarAway()
        patch = OpenPorts({"keys": MemoryInput("keys")}, {"strings": self.port})
        self.show = Show(read(RIG, "pit.toml"), patch, self.reader, clock=lambda: self.now)
        self.show.apply(RecallScene(1), "shell")

    def did(self) -> list[list[OrderKind]]:
        """What each turn since the last call ordered."""
        turns, self.port.turns = self.port.turns, []
        return [[order.do for order in turn] for turn in turns]


def test_a_turn_goes_together() -> None:
    """All messages of one turn of the loop for an output are sent together, at the end of the turn."""
    evening = Evening()
    assert evening.did() == [[OrderKind.BURST]]
    evening.reader.put(0, "90 3C 64", "80 3C 40", "90 3E 64")
    evening.show.pump()
    assert evening.did() == [[OrderKind.UNIT] * 3]


def test_every_command_is_a_turn() -> None:
    """A scene, a panic, messages of our own, a test note and the end are sent at once."""
    evening = Evening()
    evening.did()
    for command in (
        lambda: evening.show.apply(Panic(), "shell"),
        lambda: evening.show.send([(0, bytes((0xC0, 1)))]),
        lambda: evening.show.apply(PlayTestNote(evening.show.outputs[0], 0, 60, 500_000_000)),
        evening.show.finish,
    ):
        command()
        assert len(evening.did()) == 1


def test_a_fault_in_one_output_costs_that_output_alone() -> None:
    """Orders that cannot be sent are a fault of our own; the outputs after it still get theirs."""
    evening = Evening()
    broken = FarAway()
    remote = evening.show.port_commands.remote
    evening.show.port_commands.remote = {-1: broken, **remote}  # `broken` was never joined
    evening.did()
    evening.reader.put(0, "90 3C 64")
    evening.show.pump()
    assert evening.did() == [[OrderKind.UNIT]]
    assert evening.show.own_faults == 1


def test_nothing_is_paced_here() -> None:
    """Two hundred messages leave at once although the cable is slow: they are paced at the other machine."""
    evening = Evening()
    evening.did()
    evening.reader.put(0, *(f"{status} {key:02X} 64" for key in range(100) for status in ("90", "80")))
    evening.show.pump()
    assert evening.did() == [[OrderKind.UNIT] * 200]
    assert evening.show.ports.out_meters[0].messages == 201
    assert evening.show.engine.waiting is False


def test_an_output_that_is_gone_and_back_gets_silence_and_the_scene() -> None:
    """What is sent while it is away is dropped and counted; on return it gets the sweep, then the burst."""
    evening = Evening()
    evening.port.gone = "left is gone"
    evening.show.check_outputs()
    assert evening.port.closed
    evening.reader.put(0, "90 3C 64")
    evening.show.pump()
    assert evening.show.ports.out_meters[0].dropped == 1
    assert evening.show.ports.missing() == ([], [0])
    evening.did()
    evening.port = FarAway()
    evening.show.ports.attach_output(0, evening.port)
    evening.now += MS
    panic, burst = evening.port.turns[0]
    assert (panic.do, burst.do) == (OrderKind.PANIC, OrderKind.BURST)
    assert set(SWEEP) <= set(panic.messages)
    assert burst.steps[-1].unit == (bytes((0xC0, 3)),)


async def test_a_dump_goes_no_faster_than_the_far_cable_carries_it(autojump_clock: trio.testing.MockClock) -> None:
    """Twenty messages of 100 bytes take a DIN cable 640 ms (MIDI 1.0 p. 1: 320 µs a byte); none waits long there."""
    evening = Evening()
    evening.show.clock = lambda: round(trio.current_time() * 1e9)
    dump = [bytes((0xF0, 0x7D, *[index] * 97, 0xF7)) for index in range(20)]

    async def report(line: dict[str, Any]) -> None:
        pass

    began = trio.current_time()
    answer = await SysexSending(evening.show, 0, dump, 0).run(report, trio.Event())
    assert answer.done
    assert trio.current_time() - began >= 0.64 - 0.001
    assert [order.messages[0] for turn in evening.port.turns[1:] for order in turn] == dump


def test_a_recording_with_a_far_output_replayed_gives_what_went_out(tmp_path: Path) -> None:
    """What left for another machine is replayed as it left: at once, however slow the cable there is."""
    evening = Evening()
    show = evening.show
    for key in range(40, 80):
        evening.now += MS
        evening.reader.put(0, f"90 {key:02X} 64")
        show.pump()
    show.apply(Panic(), "shell")
    kept = show.recorder.last(evening.now, 1.0)
    write(kept, tmp_path / "night.jsonl", RecordingNames("pit", show.inputs, show.outputs))
    recording = read_recording(tmp_path / "night.jsonl")
    replayed = Replay(show.engine.rig, RIG).run(recording)
    assert replayed.odd == []
    assert replayed.same == sum(each.way == "out" for each in recording.happened) > 0

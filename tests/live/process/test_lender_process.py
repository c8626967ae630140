"""A machine that lends its ports, from start to end; ports and network in memory. (Our own design; no source.)"""

import contextlib
import signal
from collections.abc import AsyncIterator
from typing import Any

import pytest
import trio

from engine.core.cable.silencing_messages import SWEEP
from engine.live.lent_rig import ports_at
from engine.live.port_opening import PortOpener
from engine.live.process.lender_process import LenderProcess
from engine.ports.memory import MemoryOutput, MemorySystem
from engine.ports.port import PortError, PortGone
from engine.rig.read.load import read
from tests.support.fake_link import FakeNet
from tests.support.lending_world import BOX, OFF, ON, RIG, Engine
from tests.support.waiting import eventually

PLUGGED = "out/strings"


class Stubborn(MemoryOutput):
    """An output that refuses messages while `refuses` is set."""

    refuses = False

    def send(self, message: bytes, at: int = 0) -> None:
        if self.refuses:
            raise PortError(f'"{self.name}" takes no more')
        super().send(message)


class Stage:
    """The lending machine, and an engine that plays its outputs."""

    def __init__(self, text: str = RIG, outputs: tuple[str, ...] = ("Strings", "Brass")) -> None:
        """`outputs`: what the machine's system has."""
        self.net = FakeNet()
        self.system = MemorySystem("box", ("Keys", "Pads"), outputs)
        self.said: list[str] = []
        rig = read(text, "pit.toml").on(BOX)
        self.lending = LenderProcess(rig, self.net.link(BOX), PortOpener(self.system, False), self.said.append)
        self.desk = Engine(self.net, "desk")

    @contextlib.asynccontextmanager
    async def lent(self) -> AsyncIterator[Any]:
        """Run the machine from start to end."""
        with trio.fail_after(30):
            async with trio.open_nursery() as nursery:
                nursery.start_soon(self.lending.run)
                await eventually(lambda: any("lending" in each for each in self.said))
                yield
                self.lending.stop.set()

    @contextlib.asynccontextmanager
    async def played(self) -> AsyncIterator[Any]:
        """The same, after the engine has opened the output."""
        async with self.lent():
            await self.plugged(True)
            self.desk.claim()
            self.desk.open()
            yield

    @contextlib.asynccontextmanager
    async def sounding(self) -> AsyncIterator[Any]:
        """The same, while a note sounds on the output."""
        async with self.played():
            self.desk.play(ON)
            await eventually(lambda: self.heard == [ON])
            yield

    async def plugged(self, there: bool) -> None:
        """Wait until the engine sees the output come or go."""
        far, wanted = self.desk.far, self.desk.rig.outputs["strings"]
        await eventually(lambda: BOX in far.alive)
        await eventually(lambda: far.sees("strings", wanted) == there)

    @property
    def heard(self) -> list[bytes]:
        """What the output was sent."""
        return [message for _, message in self.system.output("Strings").sent]


async def test_an_engine_plays_its_outputs_and_at_the_end_all_is_silent() -> None:
    """What the engine orders is played; when the machine is stopped, it releases every sounding note."""
    stage = Stage()
    async with stage.sounding():
        pass
    assert stage.heard == [ON, OFF]
    assert stage.system.output("Strings").closed
    assert stage.said == ["lending 1 input and 1 output as stage-left; stop with Ctrl-C", "desk plays"]


async def test_what_arrives_goes_to_the_engine_in_order() -> None:
    """The engine receives every message of an input, in order."""
    stage = Stage()
    async with stage.lent():
        await stage.plugged(True)
        source = stage.desk.far.input("keys", stage.desk.rig.inputs["keys"])
        stage.system.input("Keys").push(ON + OFF + ON)
        heard: list[bytes] = []

        def all_came() -> bool:
            heard.extend(source.poll())
            return len(heard) >= 3

        await eventually(all_came)
        assert heard == [ON, OFF, ON]


async def test_a_dead_engine_leaves_nothing_sounding() -> None:
    """When the only engine's token goes, the machine releases every note at once and reports it."""
    stage = Stage()
    async with stage.sounding():
        stage.desk.link.close()
        await eventually(lambda: stage.heard == [ON, OFF])
        await eventually(lambda: "no engine plays; everything is silent" in stage.said)


async def test_a_pulled_output_is_reported_and_cleared_up_when_it_is_back() -> None:
    """The output's token goes and comes back; the machine itself releases the note that sounded when it was pulled."""
    stage = Stage()
    async with stage.sounding():
        stage.system.unplug("Strings")
        await stage.plugged(False)
        with pytest.raises(PortGone):
            stage.desk.port.check()
        stage.system.plug("Strings")
        await stage.plugged(True)
        await eventually(lambda: stage.heard == [OFF])


async def test_a_pulled_input_is_reported() -> None:
    """The token of an unplugged input goes, and comes back when it is plugged in again."""
    stage = Stage()
    key = stage.desk.keys.plugged(BOX, "in", "keys")
    async with stage.lent():
        await eventually(lambda: stage.desk.link.present(key) == [key])
        stage.system.unplug("Keys")
        await eventually(lambda: stage.desk.link.present(key) == [])
        stage.system.plug("Keys")
        await eventually(lambda: stage.desk.link.present(key) == [key])


async def test_an_output_that_refuses_counts_as_pulled_until_it_takes_messages_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """To engines, a driver that refuses messages is an unplugged output; it is back as soon as it takes one."""
    monkeypatch.setattr("engine.ports.memory.MemoryOutput", Stubborn)
    stage = Stage()
    async with stage.played():
        monkeypatch.setattr(Stubborn, "refuses", True)
        stage.desk.play(ON)
        await stage.plugged(False)
        monkeypatch.setattr(Stubborn, "refuses", False)
        await stage.plugged(True)
        assert stage.heard[:1] == [SWEEP[0]]


async def test_an_edited_rig_is_lent() -> None:
    """When the leading engine's rig changes, the ports it has on this machine are lent and the others are closed."""
    stage = Stage()
    edited = RIG.replace('"Strings"', '"Brass"').replace('machine = "stage-left", port = "Keys"', 'port = "Keys"')
    async with stage.sounding():
        stage.desk.link.keep(stage.desk.keys.state("rig"), edited.encode())
        await eventually(lambda: stage.system.output("Strings").closed and stage.system.input("Keys").closed)
        assert stage.heard == [ON, OFF]
        await eventually(lambda: stage.desk.port.gone)
        await stage.plugged(True)
        stage.desk.play(OFF)
        stage.desk.open()
        stage.desk.play(ON)
        await eventually(lambda: [message for _, message in stage.system.output("Brass").sent] == [ON])
        assert stage.desk.far.reports[BOX].lost == 0


async def test_an_output_that_is_taken_out_and_put_back_is_lent_again() -> None:
    """Even if it was still open: it is closed once its last releases have left, and is out of reach until it is open
    again."""
    stage = Stage()
    edited = RIG.replace('"Strings"', '"Brass"')
    async with stage.sounding():
        first = stage.system.output("Strings")
        for text in (edited, RIG):
            stage.lending._ports.lend(ports_at(read(text, "pit.toml").on(BOX), BOX))
        assert not first.closed
        with stage.lending._endpoint.lender() as lender:
            assert not lender._lent["strings"].there
        await eventually(lambda: first.closed)
        await stage.plugged(True)
        stage.desk.open()
        stage.desk.play(ON)
        await eventually(lambda: stage.heard[-1:] == [ON] and stage.system.output("Strings") is not first)


async def test_a_rig_that_cannot_be_read_changes_nothing() -> None:
    """It is reported, and the same ports stay lent."""
    stage = Stage()
    async with stage.lent():
        await stage.plugged(True)
        stage.desk.link.keep(stage.desk.keys.state("rig"), b"format = 2")
        await eventually(lambda: any("cannot be read" in each for each in stage.said))
        await stage.plugged(True)


MANY_MISTAKES = (RIG + "".join(f"k{number} = 1\n" for number in range(50_000))).encode()


@pytest.mark.slow
async def test_a_long_rig_holds_nothing_up() -> None:
    """While a rig with 50,000 mistakes is read, in another process, a pulled output is noticed; then it is reported."""
    stage = Stage()
    async with stage.lent():
        await stage.plugged(True)
        stage.desk.link.keep(stage.desk.keys.state("rig"), MANY_MISTAKES)
        await eventually(lambda: stage.lending._worker._child is not None)
        stage.system.unplug("Strings")
        await stage.plugged(False)
        assert not any("cannot be read" in each for each in stage.said)
        await eventually(lambda: any("49,900 more mistakes" in each for each in stage.said))


async def test_a_rig_that_takes_too_long_changes_nothing() -> None:
    """The system ends the process that reads it (SIGALRM: alarm(2)); that is reported, and the same ports stay lent."""
    stage = Stage()
    async with stage.lent():
        await stage.plugged(True)
        stage.desk.link.keep(stage.desk.keys.state("rig"), MANY_MISTAKES)
        await eventually(lambda: stage.lending._worker._child is not None)
        assert stage.lending._worker._child is not None
        stage.lending._worker._child.send_signal(signal.SIGALRM)
        await eventually(lambda: any("more than 30 seconds" in each for each in stage.said))
        await stage.plugged(True)


async def test_a_missing_port_is_reported_and_found_later() -> None:
    """A port that is missing at the start is reported once, and lent as soon as it is there."""
    stage = Stage()
    stage.system.unplug("Strings")
    async with stage.lent():
        assert stage.said[0].startswith("strings is missing: ")
        stage.system.plug("Strings")
        await stage.plugged(True)


async def test_meters_are_reported() -> None:
    """Engines receive the state of each port, which engine holds it, and its counts."""
    stage = Stage()
    async with stage.played():
        stage.desk.play(ON)
        reports = stage.desk.far.reports
        await eventually(lambda: BOX in reports and reports[BOX].outputs["strings"].held)
        assert reports[BOX].holder == "desk"
        assert reports[BOX].outputs["strings"].messages == 1
        assert reports[BOX].inputs["keys"].port == "Keys"


async def test_a_long_error_does_not_end_the_reports() -> None:
    """A missing output's error names every port there is: a machine with sixty of them still reports, in short."""
    others = [f"Output {number} of the eight-way boxes under the stage" for number in range(60)]
    stage = Stage(outputs=("Brass", *others))
    async with stage.lent():
        reports = stage.desk.far.reports
        await eventually(lambda: BOX in reports and reports[BOX].outputs["strings"].last_error)
        error = reports[BOX].outputs["strings"].last_error
        assert error is not None
        assert error.startswith('no port matches "Strings"; there are "')
        assert len(error) == 200
        assert error.endswith("…")


async def test_a_long_name_is_reported() -> None:
    """The machine's reports have a name of any length that a rig may have."""
    name = ("strings of the second desk, " * 50)[:1000]
    stage = Stage(RIG.replace('"strings"', f'"{name}"').replace("strings = ", f'"{name}" = '))
    async with stage.lent():
        reports = stage.desk.far.reports
        await eventually(lambda: BOX in reports and reports[BOX].outputs[name].port == "Strings")

"""Turns what happens to a show's ports into commands to the engine: opened, lost, about to be closed. Loop only."""

from collections.abc import Callable, Collection, Mapping
from typing import Protocol, runtime_checkable

from engine.core.cable.remote_cable import RemoteCable
from engine.core.command_result import CommandResult
from engine.core.commands import Command, InputLost, InputThere, OutputLeft, OutputLost, OutputThere
from engine.core.engine import Engine
from engine.live.owed_releases import OwedReleases
from engine.live.port_bank import PortBank, speed_of
from engine.live.recorder import FlightRecorder
from engine.ports.port import InputPort, OutputPort, PortError, PortGone
from engine.rig.models.rig import Input, Output


@runtime_checkable
class RemotePort(Protocol):
    """What a show needs of an output at another machine, beside what it needs of every output."""

    def join(self, now: int, cable: RemoteCable) -> None:
        """Carry the orders of this cable from now on."""

    def flush(self, now: int) -> None:
        """Hand on the orders of the cable since the last time."""


class CommandedShow(Protocol):
    """What is needed of the show."""

    @property
    def ports(self) -> PortBank: ...

    @property
    def engine(self) -> Engine: ...

    @property
    def recorder(self) -> FlightRecorder: ...

    @property
    def clock(self) -> Callable[[], int]: ...

    def tell(self, port: str, text: str) -> None: ...

    def apply(self, command: Command, who: str = "") -> CommandResult: ...

    def carry_out(self, command: Command, who: str = "") -> CommandResult: ...

    def end_turn(self) -> None: ...


class PortCommands:
    """The port events of one show."""

    def __init__(self, show: CommandedShow) -> None:
        self.remote: dict[int, RemotePort] = {}  # open outputs at other machines; the show flushes them each turn
        self._show = show
        self._owed = OwedReleases()

    # Which ports the show needs

    def wanted_inputs(self) -> Mapping[str, Input]:
        """The inputs of the rig."""
        return self._show.engine.rig.inputs

    def wanted_outputs(self) -> Mapping[str, Output]:
        """The outputs of the rig; while another engine is in charge, only those at other machines."""
        engine = self._show.engine
        if engine.state.led_by is None:
            return engine.rig.outputs
        here = {engine.outputs[output] for output in self._outputs_here()}
        return {name: output for name, output in engine.rig.outputs.items() if name not in here}

    def _outputs_here(self) -> list[int]:
        return sorted(cable.output for cable in self._show.engine.state.cables if cable.remote is None)

    # What the bank reports: see PortEvents

    def input_opened(self, source: int, port: InputPort) -> None:
        """Nothing that was measured of it holds any more."""
        name = self._show.engine.inputs[source]
        self._show.carry_out(InputThere(name))
        self._show.tell(name, f'is open ("{port.name}")')

    def input_gone(self, source: int) -> None:
        """What it holds is released, and what it moved comes to rest."""
        self._show.apply(InputLost(self._show.engine.inputs[source]))

    def output_opened(self, output: int, port: OutputPort) -> None:
        """It is silenced, set to rest, and gets the sounds of the scene."""
        self.join(output, port)
        self._set_up(output, port)
        self._show.tell(self._show.engine.outputs[output], f'is open ("{port.name}"); the scene was sent to it')

    def output_unstuck(self, output: int, port: OutputPort) -> None:
        """The same, as if it had been pulled meanwhile."""
        self._set_up(output, port)
        self._show.tell(self._show.engine.outputs[output], "takes messages again; the scene was sent to it")

    def output_stuck(self, output: int) -> None:
        """Nothing: messages are sent as before, for the driver may take the next one."""

    def output_gone(self, output: int) -> None:
        """No loop leads through it any more."""
        self.remote.pop(output, None)
        self._show.carry_out(OutputLost(self._show.engine.outputs[output]))  # it may be in the middle of sending

    def output_leaving(self, output: int) -> None:
        """What sounds there is released."""
        self._show.apply(OutputLeft(self._show.engine.outputs[output]))

    def drained(self, output: int) -> bool:
        """Whether nothing waits for its cable."""
        return self._show.engine.state.cables[output].due is None

    def output_closed(self, output: int) -> None:
        """It is recorded, so that a replay expects nothing more there."""
        self.remote.pop(output, None)
        self._show.recorder.did(self._show.clock(), "closed", self._show.engine.outputs[output])

    def not_sent(self, now: int, output: int, message: bytes, fault: PortError | None) -> None:
        """Its release is owed, if it was one."""
        if fault is not None:
            what = "gone" if isinstance(fault, PortGone) else "refused"
            self._show.recorder.did(now, what, self._show.engine.outputs[output], message.hex())
        self._owed.note(output, message)

    def tell(self, port: str, text: str) -> None:
        """One sentence for the player."""
        self._show.tell(port, text)

    # What the show asks for

    def set_up(self, outputs: Collection[str]) -> None:
        """Silence these, set them to rest and send them the sounds of the scene, as far as they are open."""
        for output, port in self._show.ports.open_outputs():
            if self._show.engine.outputs[output] in outputs:
                self._set_up(output, port)
        self._show.end_turn()

    def step_aside(self) -> None:
        """Another engine is in charge: bring the outputs here to rest, and close them until we are in charge again."""
        for output in self._outputs_here():
            self._show.ports.release_output(output)

    def join(self, output: int, port: OutputPort) -> None:
        """If this port is at another machine, it carries the orders of its cable from now on."""
        cable = self._show.engine.state.cables[output]
        if isinstance(port, RemotePort) and cable.remote is not None:
            self.remote[output] = port
            port.join(self._show.clock(), cable.remote)

    def _set_up(self, output: int, port: OutputPort) -> None:
        owed = tuple(self._owed.owed(output))
        self._show.apply(OutputThere(self._show.engine.outputs[output], speed_of(port.flow), owed))

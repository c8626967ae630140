"""A machine that lends one output and one input, and engines that play them, on a network in memory."""

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.endpoints.remote_ports import RemoteOutput
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.pure.output_lender import Grant, OutputLender
from engine.core.cable.output_cable import Delivery
from engine.core.cable.remote_cable import RemoteCable
from engine.rig.read.load import read
from tests.support.fake_link import FakeNet

RIG = """
format = 1
[rig]
name = "Pit"
[network]
standby = "spare"
main = "desk"
machine = "desk"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
spare = { listen = "127.0.0.1:7448" }
stage-left = { listen = "127.0.0.1:7449" }
[inputs]
keys = { machine = "stage-left", port = "Keys" }
near = { port = "Near" }
[outputs]
strings = { machine = "stage-left", port = "Strings" }
[[scenes]]
number = 1
name = "One"
routes = [ { from = ["keys", "near"], to = "strings" } ]
"""
BOX = "stage-left"
ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))


class Engine:
    """One engine: what it sees of the others, and the cable of its only output."""

    def __init__(self, net: FakeNet, machine: str) -> None:
        self.rig = read(RIG, "pit.toml").on(machine)
        self.keys = NetworkKeys(self.rig.rig.name)
        self.link = net.link(machine)
        self.far = RemoteMachines(self.rig, self.link, self.keys)
        self.far.begin()
        self.link.alive(self.keys.alive(machine))
        self.cable = RemoteCable(0, None)
        self.output: RemoteOutput | None = None

    def claim(self) -> int:
        """Ask for the outputs, which are granted."""
        answer = self.far.claim(BOX)
        assert isinstance(answer, Grant)
        self.far.play(0, BOX, answer.epoch)
        return answer.epoch

    def open(self) -> None:
        """Open the output."""
        self.output = self.far.output("strings", self.rig.outputs["strings"])
        self.output.join(0, self.cable)

    @property
    def port(self) -> RemoteOutput:
        """The output, once it is open."""
        assert self.output is not None
        return self.output

    def play(self, *messages: bytes) -> None:
        """Send these, and end the turn."""
        for message in messages:
            self.cable.put(0, (message,), [])
        self.port.flush(0)


class Box:
    """The machine that lends, without its drivers."""

    def __init__(self, net: FakeNet, started: int = 1000) -> None:
        rig = read(RIG, "pit.toml").on(BOX)
        assert rig.network is not None
        self.now = 0
        self.keys = NetworkKeys(rig.rig.name)
        self.link = net.link(BOX)
        self.lender = OutputLender({"strings": None}, started)
        self.gate = LenderEndpoint(self.lender, rig.network, self.link, self.keys, lambda: None, lambda: self.now)
        self.gate.begin()
        self.link.alive(self.keys.alive(BOX))
        for way, port in (("in", "keys"), ("out", "strings")):
            self.link.alive(self.keys.plugged(BOX, way, port))

    def turn(self) -> list[bytes]:
        """What has been sent to the instruments since the last turn."""
        sent: list[Delivery] = self.gate.turn()
        return [message for _, message, _ in sent]

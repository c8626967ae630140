"""How long a start waits for the ports of a rig."""

from engine.live.port_opening import PortOpener, connect
from engine.ports.memory import MemorySystem
from engine.ports.port import InputPort
from engine.rig.read.load import read

RIG = """
format = 1
[inputs.keys]
port = "a"
[inputs.pads]
port = "b"
[inputs.foot]
port = "c"
[outputs.bass]
port = "d"
[[scenes]]
number = 1
name = "Overture"
"""


class SlowOpener(PortOpener):
    """Takes three seconds for each input."""

    now = 0.0

    def input(self, name: str, wanted: object) -> InputPort:
        """See PortOpener."""
        self.now += 3.0
        return self.system.open_virtual_input(name)


def test_a_start_goes_on_without_ports_that_take_too_long() -> None:
    """Five seconds in all; whatever is not open by then is missing, with the reason, and opened while the show runs."""
    opener = SlowOpener(MemorySystem("pit"), virtual=True)
    opened = connect(read(RIG, "rig.toml"), opener, lambda: opener.now)
    assert [*opened.inputs] == ["keys", "pads"]
    assert [*opened.outputs] == []
    reason = "opening the others took long; it is opened while the show runs"
    assert opened.missing == {"inputs.foot": reason, "outputs.bass": reason}


def test_a_start_that_is_quick_opens_everything() -> None:
    """Nothing is missing."""
    opened = connect(read(RIG, "rig.toml"), PortOpener(MemorySystem("pit"), virtual=True), lambda: 0.0)
    assert [*opened.inputs, *opened.outputs] == ["keys", "pads", "foot", "bass"]
    assert opened.missing == {}

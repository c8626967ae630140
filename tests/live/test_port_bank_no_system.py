"""A machine without the system's MIDI service."""

import pytest

from engine.live import port_opening
from engine.live.port_opening import PortOpener, connect, system_for
from engine.ports.port import PortError
from engine.rig.read.load import read

DEVICES = """
format = 1
[inputs]
keys = { device = "/dev/no-such-keys" }
[outputs]
strings = { device = "/dev/no-such-strings" }
[[scenes]]
number = 1
name = "One"
"""
NETWORK = """
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
box = { listen = "127.0.0.1:7448" }
"""
REASON = "this system has no sequencer"


@pytest.fixture(autouse=True)
def _no_service(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PortError(REASON)

    monkeypatch.setattr(port_opening, "open_system", refuse)


def test_a_rig_of_byte_devices_needs_no_service() -> None:
    """Without a MIDI service, a rig of byte devices alone still opens."""
    rig = read(DEVICES, "rig.toml")
    system = system_for(rig, None, "pit")
    opened = connect(rig, PortOpener(system, virtual=False))
    system.refresh()
    assert opened.missing.keys() == {"inputs.keys", "outputs.strings"}
    assert (system.inputs(), system.outputs()) == ([], [])
    assert not any(REASON in why for why in opened.missing.values())


@pytest.mark.parametrize("virtual", [False, True])
def test_a_port_that_is_added_later_is_missing_with_the_reason(virtual: bool) -> None:
    """A system port added to such a rig by an edit is missing, and the reason is reported."""
    system = system_for(read(DEVICES, "rig.toml"), None, "pit")
    edited = DEVICES.replace('device = "/dev/no-such-keys"', 'port = "Stage piano*"')
    edited = edited.replace('device = "/dev/no-such-strings"', 'port = "Box*"')
    opened = connect(read(edited, "rig.toml"), PortOpener(system, virtual))
    assert opened.missing == {"inputs.keys": REASON, "outputs.strings": REASON}


def test_a_rig_with_ports_or_a_backend_that_was_asked_for_is_refused() -> None:
    """A rig that names a backend, or a port on this machine, is rejected with the reason."""
    with pytest.raises(PortError, match=REASON):
        system_for(read(DEVICES, "rig.toml"), "alsa", "pit")
    with pytest.raises(PortError, match=REASON):
        system_for(read(DEVICES.replace('device = "/dev/no-such-keys"', 'port = "x"'), "rig.toml"), None, "pit")


def test_ports_of_other_machines_are_not_this_ones_business() -> None:
    """A port on another machine needs no service here."""
    far = DEVICES.replace('device = "/dev/no-such-keys"', 'port = "x", machine = "box"')
    assert system_for(read(far + NETWORK, "rig.toml"), None, "pit").inputs() == []

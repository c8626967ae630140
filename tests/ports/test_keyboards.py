"""Keyboards and page-turn pedals as inputs. A recorded stream of events is read by evdev itself.

Sources: Linux, Documentation/input; EVIOCGRAB gives a device to one program alone.
"""

import errno
import time
from pathlib import Path

import pytest

from engine.midi.key_messages import KEY_CODES, key_message
from engine.ports.keyboards import KeyboardInput, keyboards, open_keyboard
from engine.ports.port import MessagesLost, PortError, PortGone
from tests.support.key_events import (
    EV_KEY,
    EV_SYN,
    SYN_DROPPED,
    SYN_REPORT,
    Desk,
    PipedKeyboard,
    events,
    no_permission,
    pressed,
)
from tests.support.waiting import until_there_are

BACK, ON = KEY_CODES["PageUp"], KEY_CODES["PageDown"]
ALL = range(1, 84)
MOUSE = (0x110, 0x111)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A laptop with a keyboard, a mouse, and a pedal that is two devices to it."""
    made = Desk(tmp_path)
    made.plug("Laptop keyboard", ALL, "isa0060/serio0/input0")
    made.plug("Mouse", MOUSE, "usb-2/input0")
    made.plug("Page turner", (BACK, ON), "usb-3/input0")
    made.plug("Page turner Consumer Control", (KEY_CODES["MediaPlayPause"],), "usb-3/input1")
    return made


def opened(desk: Desk, pattern: str = "Page turner*") -> KeyboardInput:
    return open_keyboard(pattern, desk.nodes, Path("/dev/input"), desk.open)


def read(port: KeyboardInput, count: int) -> list[bytes]:
    """What it reads, until there are so many messages."""
    messages: list[bytes] = []
    until_there_are(count, messages, port.poll)
    return messages


def test_keyboards_are_listed_by_name(desk: Desk) -> None:
    """Every device with keys is listed once, with all its nodes; a mouse has none. Nothing is opened for that."""
    found = [(each.name, each.nodes) for each in keyboards(desk.nodes)]
    assert found == [("Laptop keyboard", ("event0",)), ("Page turner", ("event2", "event3"))]
    assert desk.opened == []


def test_two_of_the_same_kind_are_two(tmp_path: Path) -> None:
    """Two pedals of one name are told apart by where they are plugged in, or by their wireless addresses."""
    desk = Desk(tmp_path)
    for phys, uniq in (
        ("usb-1/input0", ""),
        ("usb-2/input0", ""),
        ("00:11", "aa"),
        ("00:11", "bb"),
        ("", ""),
        ("virtual", ""),
        ("virtual", ""),
    ):
        desk.plug("Page turner", (BACK, ON), phys, uniq)
    assert [each.name for each in keyboards(desk.nodes)] == [f"Page turner #{number}" for number in range(1, 8)]
    assert opened(desk, "Page turner #4").name == "Page turner #4"
    assert desk.opened == ["/dev/input/event3"]


def test_what_the_rig_names_is_grabbed_and_nothing_else(desk: Desk) -> None:
    """All devices of the pedal are grabbed; no other one is even opened."""
    port = opened(desk)
    assert port.name == "Page turner"
    assert {node for node, each in desk.devices.items() if each.grabbed} == {"event2", "event3"}
    assert desk.opened == ["/dev/input/event2", "/dev/input/event3"]
    port.close()
    port.close()
    assert [desk.devices[node].closed for node in ("event2", "event3")] == [True, True]


def test_keys_go_down_and_up_and_repeats_are_left_out(desk: Desk) -> None:
    """Each key is one message down and one up, however often it repeats itself; what is no key is no message."""
    port = opened(desk)
    desk.devices["event2"].play(pressed(ON))
    assert read(port, 2) == [key_message(ON, True), key_message(ON, False)]
    desk.devices["event3"].play(pressed(KEY_CODES["MediaPlayPause"]) + events((EV_KEY, 0x110, 1)))
    assert read(port, 2) == [key_message(KEY_CODES["MediaPlayPause"], down) for down in (True, False)]
    time.sleep(0.005)
    assert port.poll() == []


def test_it_can_be_watched_while_it_is_open(desk: Desk) -> None:
    """At all its nodes: the kernel shows there that a key was pressed."""
    port = opened(desk)
    assert port.descriptors == tuple(desk.devices[node].fd for node in ("event2", "event3"))
    port.close()
    assert port.descriptors == ()


def test_a_full_queue_is_reported(desk: Desk) -> None:
    """When the kernel's queue was full, what was read is handed over, and then the loss is reported once."""
    port = opened(desk)
    desk.devices["event2"].play(events((EV_KEY, ON, 1), (EV_SYN, SYN_DROPPED, 0), (EV_SYN, SYN_REPORT, 0)))
    assert read(port, 1) == [key_message(ON, True)]
    with pytest.raises(MessagesLost, match="Page turner"):
        read(port, 1)
    desk.devices["event2"].play(pressed(BACK))
    assert len(read(port, 2)) == 2


def test_an_unplugged_keyboard_is_gone(desk: Desk) -> None:
    """Once it is unplugged, reading it says that it is gone."""
    port = opened(desk)
    desk.devices["event2"].pull()
    with pytest.raises(PortGone, match='"Page turner" was unplugged'):
        read(port, 1)


def test_a_keyboard_that_is_not_there(desk: Desk) -> None:
    """A pattern that matches none, or several, says which there are, and opens nothing."""
    with pytest.raises(PortError, match=r'no port matches "Sheet\*"; there are "Laptop keyboard", "Page turner"'):
        opened(desk, "Sheet*")
    with pytest.raises(PortError, match="matches 2 ports"):
        opened(desk, "?a*")
    assert desk.opened == []


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (no_permission(), "you do not have permission; join the group input (sudo usermod -aG input $USER)"),
        (OSError(errno.EBUSY, "Device or resource busy"), "another program has grabbed it"),
        (OSError(errno.ENODEV, "No such device"), "No such device"),
    ],
)
def test_why_a_keyboard_cannot_be_opened(desk: Desk, fault: OSError, said: str) -> None:
    """A missing permission names the group to join; what was opened before is closed again."""
    desk.devices["event3"].refuses = fault
    with pytest.raises(PortError) as found:
        opened(desk)
    assert str(found.value).startswith(f'the keyboard "Page turner" cannot be opened: {said}')
    assert desk.devices["event2"].closed


def test_without_the_library_it_says_how_to_get_it(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where evdev is not installed, the error is the command that installs it."""
    monkeypatch.setitem(__import__("sys").modules, "evdev", None)
    with pytest.raises(PortError, match=r"pip install 'bayleaf\[keyboards\]'"):
        open_keyboard("Page turner*", desk.nodes)


def test_a_computer_without_input_devices(tmp_path: Path) -> None:
    """Where the system has no such devices, there are no keyboards."""
    assert keyboards(tmp_path / "nothing") == []
    with pytest.raises(PortError, match='no keyboard matches "Page turner"; none was found'):
        open_keyboard("Page turner", tmp_path, tmp_path, lambda path: PipedKeyboard())


def test_a_node_that_vanishes_while_it_is_looked_at(desk: Desk) -> None:
    """A node whose facts cannot be read any more is passed over."""
    (desk.nodes / "event2" / "device" / "capabilities" / "key").unlink()
    assert [each.name for each in keyboards(desk.nodes)] == ["Laptop keyboard", "Page turner Consumer Control"]
    assert isinstance(desk.devices["event2"], PipedKeyboard)

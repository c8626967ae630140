"""Page-turn pedals on a real kernel; test_alsa_guest.py runs this where there is one.

The pedals are made by uinput, so that the kernel, sysfs and evdev see devices as if they had been plugged in.
"""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from evdev import InputDevice, UInput, ecodes

from engine.ports.keyboards import keyboards, open_keyboard
from engine.ports.port import PortError, PortGone
from tests.support.engine_process import Engine
from tests.support.page_turner import PEDAL
from tests.support.waiting import until, until_there_are

SLOW = 60.0  # seconds: the guest is emulated
NOBODY = 65_534
TYPED = (ecodes.KEY_A, ecodes.KEY_B, ecodes.KEY_ENTER)
TURNED = (ecodes.KEY_PAGEUP, ecodes.KEY_PAGEDOWN)


def device(name: str, keys: Sequence[int]) -> UInput:
    """A keyboard that is plugged in now."""
    made = UInput({ecodes.EV_KEY: keys}, name=name)
    until("its node", lambda: any(each.name == name for each in keyboards()), SLOW)
    return made


def press(pedal: UInput, key: int, down: bool) -> None:
    """One key goes down or up."""
    pedal.write(ecodes.EV_KEY, key, int(down))
    pedal.syn()


def node(name: str) -> Path:
    """Where the system has a keyboard."""
    return Path("/dev/input", next(each.nodes[0] for each in keyboards() if each.name == name))


def heard(listener: "InputDevice[str]") -> list[int]:
    """The keys that somebody else hears."""
    try:
        return [each.code for each in listener.read() if each.type == ecodes.EV_KEY]
    except BlockingIOError:
        return []


@pytest.fixture
def pedal() -> Iterator[UInput]:
    """A page turner."""
    made = device("Page turner", TURNED)
    yield made
    made.close()


def test_what_is_named_is_grabbed_and_nothing_else(pedal: UInput) -> None:
    """A pedal's keys reach nobody else while it is open; another keyboard's keys reach everybody."""
    with device("Typewriter", TYPED) as typewriter:
        others = {name: InputDevice(str(node(name))) for name in ("Page turner", "Typewriter")}
        port = open_keyboard("Page turner*")
        for made, key in ((pedal, ecodes.KEY_PAGEDOWN), (typewriter, ecodes.KEY_A)):
            press(made, key, True)
            press(made, key, False)
        until_there_are(2, list[bytes](), port.poll, "keys", SLOW)
        until("the typewriter's key", lambda: ecodes.KEY_A in heard(others["Typewriter"]), SLOW)
        assert heard(others["Page turner"]) == []
        port.close()
        press(pedal, ecodes.KEY_PAGEUP, True)
        until("the pedal's key", lambda: ecodes.KEY_PAGEUP in heard(others["Page turner"]), SLOW)


def test_an_unplugged_pedal_is_gone(pedal: UInput) -> None:
    """Reading a pedal that was unplugged says that it is gone."""
    port = open_keyboard("Page turner*")
    pedal.close()

    def gone() -> bool:
        try:
            port.poll()
        except PortGone:
            return True
        return False

    until("the end", gone, SLOW)
    port.close()


def test_without_permission_the_group_is_named(pedal: UInput) -> None:
    """A user who may not read input devices is told which group to join."""
    os.chmod(node("Page turner"), 0o600)
    os.seteuid(NOBODY)
    try:
        with pytest.raises(PortError, match="you do not have permission; join the group input"):
            open_keyboard("Page turner*")
    finally:
        os.seteuid(0)


def test_a_pedal_drives_a_show(page_turner_engine: Engine | None) -> None:
    """A pedal's keys change scenes, one that is held is a long press; pulled and plugged in again, it goes on."""
    assert page_turner_engine is not None
    engine = page_turner_engine
    until("the engine's answer", lambda: engine.process.poll() is not None or engine.request("status"), 4 * SLOW)
    assert engine.process.poll() is None, engine.said()

    def scene() -> object:
        answer = engine.request("status")
        return answer["status"]["scene"]["number"] if answer else None

    def state() -> object:
        answer = engine.request("status")
        return answer["status"]["inputs"][0]["state"] if answer else None

    def tap(made: UInput, key: int) -> None:
        press(made, key, True)
        press(made, key, False)

    with device(PEDAL, TURNED) as pedal:
        until("the pedal", lambda: state() == "open", SLOW)
        assert scene() == 1
        tap(pedal, ecodes.KEY_PAGEDOWN)
        until("scene 2", lambda: scene() == 2, SLOW)
        tap(pedal, ecodes.KEY_PAGEUP)
    until("the missing pedal", lambda: state() == "missing", SLOW)
    with device(PEDAL, TURNED) as again:
        until("the pedal", lambda: state() == "open", SLOW)
        assert scene() == 2
        tap(again, ecodes.KEY_PAGEDOWN)
        until("scene 3", lambda: scene() == 3, SLOW)
        press(again, ecodes.KEY_PAGEUP, True)
        until("scene 1", lambda: scene() == 1, SLOW)
    engine.end()

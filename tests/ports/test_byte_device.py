"""Byte devices that misbehave: full, slow, gone, refused, or full of rubbish. Pipes and pseudo-terminals: Linux."""

import fcntl
import os
import pty
import struct
import termios
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.midi.byte_stream import StreamParser
from engine.midi.kinds import is_whole
from engine.ports import byte_device
from engine.ports.byte_device import open_device_input, open_device_output
from engine.ports.port import PortError, PortGone
from tests.support.waiting import until, until_there_are

NOTE = b"\x90\x3c\x40"
LONG = b"\xf0\x7d" + bytes(number % 128 for number in range(300_000)) + b"\xf7"


@pytest.fixture
def fifo(tmp_path: Path) -> str:
    """A new FIFO."""
    path = tmp_path / "line"
    os.mkfifo(path)
    return str(path)


@pytest.fixture
def far(fifo: str) -> Iterator[int]:
    """The other program's end of the FIFO, both ways."""
    handle = os.open(fifo, os.O_RDWR | os.O_NONBLOCK)
    yield handle
    os.close(handle)


def drain(handle: int) -> bytes:
    """Everything that can be read now."""
    data = b""
    while True:
        try:
            data += os.read(handle, 4096)
        except BlockingIOError:
            return data


def test_a_long_message_goes_on_without_another_send(fifo: str, far: int) -> None:
    """A SysEx longer than the kernel's buffer arrives whole although nothing else is sent after it."""
    port = open_device_output(fifo)
    port.send(LONG)
    heard = bytearray()
    until_there_are(len(LONG), heard, partial(drain, far))
    port.close()
    assert bytes(heard) == LONG


def test_a_clock_passes_a_long_message(fifo: str, far: int) -> None:
    """A clock goes out inside a SysEx that is on its way, even the longest; a note comes after it (MIDI 1.0 p. 5)."""
    port = open_device_output(fifo)
    port.send(LONG)
    port.send(b"\xf8")
    parser = StreamParser()
    heard: list[bytes] = []
    until_there_are(2, heard, lambda: parser.feed(drain(far)))
    until("room", lambda: _sends(port.send))
    until_there_are(3, heard, lambda: parser.feed(drain(far)))
    port.close()
    assert heard == [b"\xf8", LONG, NOTE]


def _sends(send: Callable[[bytes], None]) -> bool:
    try:
        send(NOTE)
    except PortError:
        return False
    return True


@pytest.mark.parametrize("message", [NOTE, b"\xf8", LONG], ids=["notes", "clocks", "SysEx"])
def test_nobody_reads(fifo: str, far: int, message: bytes) -> None:
    """Without a reader, sending ends in a refusal, closing does not wait, and what was sent has no gap."""
    port = open_device_output(fifo)
    with pytest.raises(PortError, match="is full: the device does not take what it was sent"):  # noqa: PT012 it is the loop
        while True:
            port.send(message)
    port.close()
    got = drain(far)
    assert got == (message * (len(got) // len(message) + 1))[: len(got)]


def test_a_reader_that_slept(fifo: str, far: int) -> None:
    """What was accepted while nothing was read arrives once the reader reads again, and sending goes on."""
    port = open_device_output(fifo)
    sent = 0
    with pytest.raises(PortError, match="is full"):  # noqa: PT012 the count is wanted
        while True:
            port.send(NOTE)
            sent += 1
    heard = bytearray()
    until_there_are(3 * sent, heard, partial(drain, far))
    port.send(b"\xf6")
    until_there_are(3 * sent + 1, heard, partial(drain, far))
    port.close()
    assert bytes(heard) == NOTE * sent + b"\xf6"


def test_closing_does_not_wait_for_a_device_that_is_stuck(fifo: str, far: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing a device that has taken nothing for a moment does not wait another moment: the music must go on."""
    monkeypatch.setattr(byte_device, "_MOMENT", 60.0)
    port = open_device_output(fifo)
    while _sends(port.send):
        pass
    now = time.monotonic
    monkeypatch.setattr(time, "monotonic", lambda: now() + 90.0)
    closing = threading.Thread(target=port.close, daemon=True)
    closing.start()
    closing.join(30.0)
    assert not closing.is_alive()


def test_a_path_that_no_system_can_have_is_reported() -> None:
    """A path with a NUL in it is not a device: that port raises an error, and nothing else is affected."""
    with pytest.raises(PortError, match="cannot be opened: embedded null"):
        open_device_output("/dev/serial\0")


def test_closing_does_not_wait_for_a_slow_device(fifo: str, far: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """At closing, a slow device gets one moment and no more, however much is still waiting for it."""
    monkeypatch.setattr(byte_device, "_PIECE_OUT", 1)
    write, written = os.write, []

    def slowly(handle: int, data: bytes) -> int:
        written.append(data)
        time.sleep(0.01)  # a slow device
        return write(handle, data)

    monkeypatch.setattr(os, "write", slowly)
    port = open_device_output(fifo)
    port.send(LONG)
    until("a beginning", lambda: written)
    port.close()
    assert len(written) < 1000


def test_a_reader_may_come_late(fifo: str) -> None:
    """A FIFO can be played to before its reader opens it, and after a reader has left."""
    port = open_device_output(fifo)
    for _ in range(2):
        port.send(NOTE)
        reader = os.open(fifo, os.O_RDONLY | os.O_NONBLOCK)
        heard = bytearray()
        until_there_are(3, heard, partial(drain, reader))
        os.close(reader)
        assert bytes(heard) == NOTE
    port.close()


def test_a_writer_may_come_and_go(fifo: str) -> None:
    """When the program that writes a FIFO leaves, the input is silent; what the next program writes arrives."""
    port = open_device_input(fifo)
    for _ in range(2):
        writer = os.open(fifo, os.O_WRONLY)
        os.write(writer, NOTE)
        os.close(writer)
        assert port.poll() == [NOTE]
        assert port.poll() == []
    port.close()


def test_messages_in_pieces(fifo: str, far: int) -> None:
    """A message whose bytes come one at a time is delivered once, when it is complete."""
    port = open_device_input(fifo)
    heard = []
    for byte in NOTE + b"\x3e\x40":
        os.write(far, bytes((byte,)))
        heard.append(port.poll())
    port.close()
    assert heard == [[], [], [NOTE], [], [b"\x90\x3e\x40"]]


def test_a_flood_is_read_in_small_pieces(fifo: str, far: int) -> None:
    """However much a device has to say, one look takes a bounded part of it, and the rest is not lost."""
    port = open_device_input(fifo)
    flood = b"\x90\x3c\x40" * 20_000
    heard: list[int] = []
    sent = os.write(far, flood)
    while len(heard) < 10_000 and (messages := port.poll()):
        heard.append(len(messages))
    assert max(heard) <= 86
    assert sum(heard) == sent // 3
    port.close()


def test_a_clock_inside_a_sysex(fifo: str, far: int) -> None:
    """A clock between the bytes of a SysEx is delivered first, then the SysEx without it. MIDI 1.0 p. 29, Table VII."""
    port = open_device_input(fifo)
    os.write(far, b"\xf0\x7d\x01\xf8\x02\xf7")
    assert port.poll() == [b"\xf8", b"\xf0\x7d\x01\x02\xf7"]
    assert port.stream.repairs == 0
    port.close()


def test_opening_and_closing_leaks_no_threads(fifo: str) -> None:
    """After fifty outputs have come and gone, full ones too, there are no more threads and handles than before."""

    def held() -> tuple[int, int]:
        return threading.active_count(), len(os.listdir("/proc/self/fd"))

    before = held()
    for _ in range(50):
        port = open_device_output(fifo)
        port.send(NOTE)
        port.close()
    full = open_device_output(fifo)
    full.send(LONG)
    full.close()
    assert all(now <= earlier for now, earlier in zip(held(), before, strict=True))


def test_an_open_sysex_is_given_up(fifo: str, far: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A SysEx without a byte for five seconds is discarded and counted; its late end is not taken for a message."""
    now = [1_000_000_000]
    monkeypatch.setattr(time, "monotonic_ns", lambda: now[0])
    port = open_device_input(fifo)
    os.write(far, b"\xf0\x7d\x01")
    assert port.poll() == []
    now[0] += 5_000_000_000
    assert (port.poll(), port.stream.repairs) == ([], 0)
    now[0] += 1
    assert (port.poll(), port.stream.repairs) == ([], 1)
    os.write(far, b"\xf7" + NOTE)
    assert port.poll() == [NOTE]
    port.close()


@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=4000))
def test_rubbish_does_no_harm(fifo: str, far: int, rubbish: bytes) -> None:
    """Whatever bytes a device sends, only whole messages come out, and the note after them arrives."""
    port = open_device_input(fifo)
    os.write(far, rubbish + b"\xf6" + NOTE)  # the tune request ends whatever the rubbish began
    heard = port.poll()
    port.close()
    assert all(is_whole(message) for message in heard)
    assert heard[-2:] == [b"\xf6", NOTE]


@pytest.mark.parametrize("message", [b"", b"\x90\x3c", b"\x3c\x40", NOTE * 2, b"\xf0\x7d", b"\x90\x3c\x80", b"\xf4"])
def test_only_whole_messages_are_sent(fifo: str, far: int, message: bytes) -> None:
    """Bytes that are not exactly one message are refused, and none of them is written."""
    port = open_device_output(fifo)
    with pytest.raises(PortError, match="is not a whole MIDI message"):
        port.send(message)
    port.close()
    assert drain(far) == b""


def test_a_terminal_is_set_to_midi() -> None:
    """A serial line runs raw at 31,250 baud: eight bits, no parity, one stop bit, no handshake. MIDI 1.0 p. 1."""
    master, near = pty.openpty()
    attributes = termios.tcgetattr(near)
    attributes[0] |= termios.IGNCR | termios.IXON | termios.IXOFF | termios.PARMRK
    attributes[2] |= termios.PARENB | termios.CSTOPB
    termios.tcsetattr(near, termios.TCSANOW, attributes)
    port = open_device_input(os.ttyname(near))
    iflag, oflag, cflag, lflag, *_ = termios.tcgetattr(near)
    settings = bytearray(44)
    fcntl.ioctl(near, 0x802C542A, settings)  # TCGETS2 of asm-generic
    port.close()
    os.close(near)
    os.close(master)
    assert (iflag, oflag, lflag) == (termios.IGNBRK | termios.IGNPAR, 0, 0)
    assert cflag & (termios.CSIZE | termios.PARENB | termios.CSTOPB | termios.CRTSCTS) == termios.CS8
    assert struct.unpack("2I", settings[36:]) == (31_250, 31_250)


def test_a_terminal_passes_every_byte() -> None:
    """No byte value is changed, swallowed or echoed by a serial line, in or out."""
    master, near = pty.openpty()
    name = os.ttyname(near)
    source, output = open_device_input(name), open_device_output(name)
    sysex = b"\xf0" + bytes(range(128)) + b"\xf7"
    os.write(master, sysex)
    heard: list[bytes] = []
    until_there_are(1, heard, source.poll)
    output.send(sysex)
    os.set_blocking(master, False)
    played = bytearray()
    until_there_are(len(sysex), played, partial(drain, master))
    source.close()
    output.close()
    os.close(near)
    os.close(master)
    assert (heard, bytes(played)) == ([sysex], sysex)


def test_a_line_that_refuses_the_speed_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """A serial line that cannot run at MIDI's speed is refused with the reason, and its handle is closed."""
    master, near = pty.openpty()
    name = os.ttyname(near)

    def refuse(path: str, handle: int) -> None:
        raise PortError(f"{path} cannot be set to 31250 baud")

    monkeypatch.setattr(byte_device, "_set_line", refuse)
    before = len(os.listdir("/proc/self/fd"))
    with pytest.raises(PortError, match="cannot be set to 31250 baud"):
        open_device_input(name)
    assert len(os.listdir("/proc/self/fd")) == before
    os.close(near)
    os.close(master)


def test_a_device_of_others_is_reported(fifo: str) -> None:
    """A device that this user may not use is refused with the remedy."""
    os.chmod(fifo, 0)
    user = os.geteuid()
    try:
        if user == 0:
            os.seteuid(65534)  # root may use everything
        for attempt in (open_device_input, open_device_output):
            with pytest.raises(PortError, match="you do not have permission to use it; join its group"):
                attempt(fifo)
    finally:
        os.seteuid(user)


def test_a_device_that_ends_is_gone() -> None:
    """A device that reports its end is lost, not silent."""
    port = open_device_input("/dev/null")
    with pytest.raises(PortError, match=r"/dev/null is gone \(end of input\)"):
        port.poll()
    port.close()


def _is_gone(use: Callable[[], object]) -> bool:
    try:
        use()
    except PortGone as fault:
        return "is gone" in str(fault)
    return False


def test_a_fifo_that_is_made_again(tmp_path: Path) -> None:
    """When the node is deleted and made again, both ports raise until they are opened again; then they carry bytes.

    The loss is noticed without sending, and what had arrived before is read first.
    """
    for number, between in enumerate((True, False, False)):  # checked while the node was away, or not
        path = tmp_path / "line"
        os.mkfifo(path)
        source, output = open_device_input(str(path)), open_device_output(str(path))
        output.send(bytes((0x90, number, 0x40)))
        heard: list[bytes] = []
        until_there_are(1, heard, source.poll)
        assert heard == [bytes((0x90, number, 0x40))]
        other = os.open(path, os.O_RDWR | os.O_NONBLOCK)
        path.unlink()
        os.write(other, NOTE)
        assert source.poll() == [NOTE]
        if not between:
            os.mkfifo(tmp_path / "new")  # made while the other exists, so that it is surely another file
            os.rename(tmp_path / "new", path)
        for use in (source.poll, output.check, lambda output=output: output.send(NOTE)):
            until("the news", partial(_is_gone, use))
            assert _is_gone(use)
        os.close(other)
        source.close()
        output.close()
        path.unlink(missing_ok=True)


def test_a_device_that_is_gone_is_owed_nothing(fifo: str, far: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing a port whose device is gone does not wait for the bytes still queued for it."""
    monkeypatch.setattr(byte_device, "_MOMENT", 3600.0)
    port = open_device_output(fifo)
    port.send(LONG)
    os.unlink(fifo)
    until("the news", lambda: _is_gone(port.check))
    port.close()


def test_a_serial_line_that_is_plugged_in_again(tmp_path: Path) -> None:
    """A pulled serial line is gone, and a check finds that without sending a byte; back at its path it opens again."""
    path = tmp_path / "tty"
    for number in range(3):
        far, near = pty.openpty()
        path.symlink_to(os.ttyname(near))
        os.close(near)
        source, output = open_device_input(str(path)), open_device_output(str(path))
        os.write(far, bytes((0x90, number, 0x40)))
        heard: list[bytes] = []
        until_there_are(1, heard, source.poll)
        output.send(bytes((0x80, number, 0x40)))
        assert (heard, os.read(far, 3)) == ([bytes((0x90, number, 0x40))], bytes((0x80, number, 0x40)))
        output.check()
        os.close(far)
        path.unlink()
        for use in (output.check, source.poll, lambda output=output: output.send(NOTE)):
            until("the news", partial(_is_gone, use))
            assert _is_gone(use)
        with pytest.raises(PortError, match="there is no such device"):
            open_device_input(str(path))
        source.close()
        output.close()


def test_a_device_is_looked_at_five_times_a_second(fifo: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """However often a port is polled, checked and sent to, it checks its device at most every 0.2 s."""
    now = [1_000_000_000]
    monkeypatch.setattr(time, "monotonic_ns", lambda: now[0])
    source, output = open_device_input(fifo), open_device_output(fifo)
    assert source.poll() == []
    output.check()
    os.unlink(fifo)
    now[0] += 200_000_000
    assert source.poll() == []
    output.check()
    now[0] += 1
    assert _is_gone(source.poll)
    assert _is_gone(output.check)
    source.close()
    output.close()


def test_a_device_that_goes_under_a_long_message_is_reported() -> None:
    """A serial line that is pulled during a SysEx raises at the next message, and closes."""
    master, near = pty.openpty()
    port = open_device_output(os.ttyname(near))
    port.send(LONG)
    os.close(near)
    os.close(master)

    def told() -> bool:
        try:
            port.send(b"\xf8")
        except PortError as fault:
            return "is gone" in str(fault)
        return False

    until("the news", told)
    port.close()

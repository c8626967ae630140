"""The one conformance suite: what every kind of port must do. Run on memory, FIFO, pseudo-terminal, JACK and ALSA.

Message kinds, framing and real-time rules: MIDI 1.0 Detailed Specification 4.2.1, Tables I to VII and p. A-2.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import pytest

from engine.live.descriptor_wait import DescriptorWait
from engine.midi.kinds import KINDS
from engine.ports.port import InputPort, OutputPort, PortError, PortGone, WatchableInput
from tests.support.waiting import until, until_there_are

#: one message of each kind, with different data bytes
EVERY_KIND: Final = tuple(
    b"\xf0\x7d\x01\x02\xf7" if kind.data_bytes < 0 else bytes((kind.status, *range(1, kind.data_bytes + 1)))
    for kind in KINDS
)
SIZES: Final = (16, 100, 1000, 4096, 10_000, 65_536)


@dataclass
class Line:
    """Two ports under test, each with an independent other end.

    `play` puts bytes on the input's cable; `heard` gives the bytes that came out of the output's cable since the last
    call; `pull` takes the input's and the output's other end away for good, if they can be taken away; `carries` is the
    longest piece that the other end can play, `hears` the longest it can receive; `holds` how many messages it keeps
    until it is read; `patience` the seconds that anything may take.
    """

    input: InputPort
    output: OutputPort
    play: Callable[[bytes], None]
    heard: Callable[[], bytes]
    pull: Callable[[], object] | None = None
    carries: int = 1 << 20
    hears: int = 1 << 20
    holds: int = 1 << 20
    patience: float = 30.0
    free_at: float = 0.0  # when the output's flow has let through all that was sent

    def read(self, count: int) -> list[bytes]:
        """Read the input until `count` messages have arrived."""
        messages: list[bytes] = []
        until_there_are(count, messages, self.input.poll, "messages", self.patience)
        return messages

    def hear(self, count: int) -> bytes:
        """Read the output's cable until `count` bytes have arrived."""
        data = bytearray()
        until_there_are(count, data, self.heard, "bytes", self.patience)
        return bytes(data)

    def send(self, messages: list[bytes]) -> bytes:
        """Send as the core does, never more than the flow allows; returns what arrived meanwhile."""
        heard, flow = b"", self.output.flow
        for message in messages:
            if flow is not None:
                ahead = flow.ahead / flow.per_second
                cost = (len(message) + flow.overhead) / flow.per_second
                while (over := self.free_at + min(cost, ahead) - time.monotonic() - ahead) > 0:
                    time.sleep(over + 0.001)  # until the cable has carried what it has
                    heard += self.heard()
                self.free_at = max(self.free_at, time.monotonic()) + cost
            self.output.send(message)
            heard += self.heard()
        return heard


def every_kind_arrives(line: Line) -> None:
    """Every kind of message arrives, in order; clock, active sensing, time code and SysEx are not filtered."""
    for message in EVERY_KIND:
        line.play(message)
    assert line.read(len(EVERY_KIND)) == list(EVERY_KIND)


def every_kind_is_sent(line: Line) -> None:
    """Every kind of message arrives at the other end, in order."""
    wanted = b"".join(EVERY_KIND)
    early = line.send(list(EVERY_KIND))
    assert early + line.hear(len(wanted) - len(early)) == wanted


def sysex(size: int) -> bytes:
    """A SysEx of this many bytes."""
    return b"\xf0\x7d" + bytes(number % 128 for number in range(size - 3)) + b"\xf7"


def sysex_arrives_whole(line: Line) -> None:
    """A SysEx of 16 bytes to 64 KB arrives whole, up to the longest that the other end can play."""
    for size in (size for size in SIZES if size <= line.carries):
        line.play(sysex(size))
        assert line.read(1) == [sysex(size)]


def sysex_is_sent_whole_or_refused(line: Line) -> None:
    """A SysEx of 16 bytes to 64 KB arrives whole at the other end, or is refused before any of it is sent."""
    for size in SIZES:
        if line.output.longest is not None and size > line.output.longest:
            with pytest.raises(PortError, match=f"{size}"):
                line.output.send(sysex(size))
            continue
        if size > line.hears:
            continue
        early = line.send([sysex(size)])
        assert early + line.hear(size - len(early)) == sysex(size)
    early = line.send([b"\x90\x3c\x40"])
    assert early + line.hear(3 - len(early)) == b"\x90\x3c\x40", "nothing of what was refused may have been sent"


def real_time_passes_inside_sysex(line: Line) -> None:
    """A clock inside a SysEx is delivered, and the SysEx arrives whole without it (MIDI 1.0 Table VII note 2)."""
    line.play(bytes.fromhex("F0 7D 01 F8 02 F7"))
    assert line.read(2) == [b"\xf8", bytes.fromhex("F0 7D 01 02 F7")]


def broken_sysex_is_repaired(line: Line) -> None:
    """A SysEx that never ends does not swallow the notes after it, and is counted (MIDI 1.0 p. 29)."""
    line.play(b"\xf0\x7d\x01")
    line.play(b"\x90\x3c\x40")
    line.play(b"\x80\x3c\x40")
    line.play(b"\xf7")  # JACK's driver hands on a broken SysEx only at the next F7
    assert line.read(2) == [b"\x90\x3c\x40", b"\x80\x3c\x40"]
    assert line.input.stream.repairs > 0


def thousands_arrive(line: Line) -> None:
    """Two thousand messages pass each way: none lost, none doubled, none out of order."""
    messages = [bytes((0x90, number % 128, 1 + number // 128)) for number in range(2000)]
    heard = b""
    for number in range(0, 2000, line.holds):
        heard += line.send(messages[number : number + line.holds])
        wanted = b"".join(messages[: number + line.holds])
        heard += line.hear(len(wanted) - len(heard))
        assert heard == wanted, _first_difference(heard, wanted)
    read: list[bytes] = []
    for number in range(0, 2000, 100):
        for message in messages[number : number + 100]:
            line.play(message)
        read += line.read(100)
    assert read == messages


def what_comes_ends_a_rest(line: Line) -> None:
    """Where an input can be watched, each message stirs its descriptors, and a closed one has none."""
    if not isinstance(line.input, WatchableInput) or not line.input.descriptors:
        return
    news = DescriptorWait()
    line.input.poll()
    news.watch(line.input.descriptors)
    news.wait(line.patience)  # each new descriptor stirs once
    for _ in range(20):
        line.play(b"\x90\x3c\x40")
        assert news.wait(line.patience)
        line.read(1)
        news.wait(0)  # the message may have come in several pieces
    line.input.close()
    assert not line.input.descriptors
    news.close()


def _first_difference(heard: bytes, wanted: bytes) -> str:
    at = next((at for at, (one, other) in enumerate(zip(heard, wanted, strict=False)) if one != other), len(wanted))
    near = slice(max(0, at - 9), at + 18)
    return f"at byte {at} of {len(heard)}: {heard[near].hex(' ', 3)} instead of {wanted[near].hex(' ', 3)}"


def closed_ports_are_closed(line: Line) -> None:
    """Closing twice is fine; a closed input brings nothing, and a closed output raises."""
    for port in (line.input, line.output):
        port.close()
        port.close()
    assert line.input.poll() == []
    with pytest.raises(PortError, match="closed"):
        line.output.send(b"\x90\x3c\x40")


def a_port_that_is_gone_says_so(line: Line) -> None:
    """A port that is there passes its check; a port that is gone first gives what had arrived, then raises every time.

    It closes cleanly, and is then as silent as any closed port.
    """
    line.output.check()
    if line.pull is None:
        return
    line.play(b"\x90\x3c\x40")
    assert line.read(1) == [b"\x90\x3c\x40"]
    line.pull()
    for use in (line.input.poll, line.output.check, lambda: line.output.send(b"\x90\x3c\x40")):
        for _ in range(3):
            until("the news that a port is gone", partial(_gone, use), line.patience)
    assert _gone(line.input.poll)
    assert _gone(line.output.check)
    line.input.close()
    line.output.close()
    line.output.check()
    assert line.input.poll() == []


def _gone(use: Callable[[], object]) -> bool:
    try:
        use()
    except PortGone:
        return True
    return False


CHECKS: Final = (
    every_kind_arrives,
    every_kind_is_sent,
    sysex_arrives_whole,
    sysex_is_sent_whole_or_refused,
    real_time_passes_inside_sysex,
    broken_sysex_is_repaired,
    thousands_arrive,
    what_comes_ends_a_rest,
    closed_ports_are_closed,
    a_port_that_is_gone_says_so,
)

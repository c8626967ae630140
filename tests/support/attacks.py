"""Every attack, in one table: tests hold what it may cost in memory, `python -m bench --part attacks` in time.

    python -m tests.support.attacks TARGET

reads names of attacks, and makes each again and again in a process of its own, whose id it prints, until that is
killed. An attack is a function of the target that is over when it has been made once.
"""

import contextlib
import json
import os
import signal
import socket
import sys
import time
import zlib
from collections.abc import Callable, Sequence
from itertools import cycle
from pathlib import Path
from typing import Any, Final, NamedTuple

import trio

from engine.core.control.remote_messages import BLOCK, own, seven
from engine.core.control.rig_dump import blocks
from engine.midi.seven_bit_packing import pack
from engine.rig.read.toml_limits import LONGEST_TEXT
from tests.support.attacked_stage import DEVICE, REMOTES, Target
from tests.support.lying_machine import flapping, flood, nonsense
from tests.support.panel_ends import Ends
from tests.support.replaced_file import replace_file

_ROUND: Final = 0.6  # seconds between two edits: the engine looks at its file four times per second
_HELD: Final = 1.0  # seconds that connections are held
_CABLE: Final = 1_000_000  # bytes per second of a fast port
_BROWSERS: Final = 32

# Rig bombs


def dotted(rig: str) -> str:
    """One key of 8,000 parts."""
    return "a." * 8000 + "a = 1\n"


def deep(rig: str) -> str:
    """A list in a list in a list …"""
    return f"x = {'[' * 20_000}{']' * 20_000}\n"


def huge(rig: str) -> str:
    """A hexadecimal number of 500,000 digits."""
    return f"x = 0x{'f' * 500_000}\n{rig}"


def unknown(count: int) -> Callable[[str], str]:
    """A good rig with this many keys that nobody knows."""
    return lambda rig: rig + "[extra]\n" + "".join(f"key{number} = 1\n" for number in range(count))


def _bytes(rig: str) -> str:
    """Twenty megabytes of comments."""
    return rig + f"# {'x' * 98}\n" * 200_000


_BOMBS: Final[dict[str, Callable[[str], str]]] = {
    "dotted keys": dotted,
    "deep lists": deep,
    "a huge number": huge,
    "50,000 unknown keys": unknown(50_000),
    "200,000 unknown keys": unknown(200_000),
    "20 MB": _bytes,
}


def _in_the_file(bomb: Callable[[str], str]) -> Callable[[Target], None]:
    def attack(target: Target) -> None:
        for text in (bomb(target.rig), target.rig):
            replace_file(target.rig_file, text)
            time.sleep(_ROUND)

    return attack


def _restored(bomb: Callable[[str], str]) -> Callable[[Target], None]:
    def attack(target: Target) -> None:
        request = {"do": "restore", "text": bomb(target.rig), "where": "elsewhere"}
        _say(target, json.dumps(request).encode() + b"\n")

    return attack


def _say(target: Target, data: bytes) -> bytes:
    """Send this on the engine's socket; the first line that comes back, or nothing."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as talk:
        talk.settimeout(10)
        talk.connect(str(target.control))
        talk.sendall(data)
        talk.shutdown(socket.SHUT_WR)
        with talk.makefile("rb") as lines:
            return lines.readline()
    return b""


def _dumped(bomb: Callable[[str], str]) -> Callable[[Target], bytes]:
    return lambda target: b"".join(blocks(bomb(target.rig), DEVICE))


def _sent(fifo: str, made: Callable[[Target], bytes]) -> Callable[[Target], None]:
    return lambda target: _send(target, fifo, made(target))


def _send(target: Target, fifo: str, data: bytes) -> None:
    """As fast as a fast port brings it."""
    handle = os.open(target.fifo(fifo), os.O_RDWR)
    try:
        for place in range(0, len(data), 4096):
            os.write(handle, data[place : place + 4096])
            time.sleep(4096 / _CABLE)
    finally:
        os.close(handle)


def many_blocks(target: Target) -> bytes:
    """3,000 small blocks of a backup that has 16,383."""
    whole = seven(16_383, 2) + seven(100_000, 4) + seven(0, 5)
    listed = []
    for number in range(1, 3001):
        head, packed = bytes((1,)) + seven(number, 2) + whole, pack(b"x")
        listed.append(own(DEVICE, BLOCK, head + seven(zlib.crc32(head + packed), 5) + packed))
    return b"".join(listed)


def bomb_in_zip(target: Target) -> bytes:
    """A backup of four megabytes of the same letter."""
    return b"".join(blocks("#" * LONGEST_TEXT, DEVICE))


# Guests


def _browsers(*requests: dict[str, Any]) -> Callable[[Target], None]:
    """Thirty-two browsers that ask this without a pause, and look at what happens."""

    async def asking(ends: Ends) -> None:
        with contextlib.suppress(OSError, trio.BrokenResourceError, AssertionError):
            async with ends.live() as live:
                await live.say(events=True)
                for number, request in enumerate(cycle(requests)):
                    await live.ask(number, **request)

    async def all_of_them(target: Target) -> None:
        with trio.move_on_after(_HELD):
            async with trio.open_nursery() as nursery:
                for _ in range(_BROWSERS):
                    nursery.start_soon(asking, Ends(target.panel, {}))

    return lambda target: trio.run(all_of_them, target)


def deaf_browsers(target: Target) -> None:
    """Browsers that ask for the rig as often as they can and never read."""

    async def asking(ends: Ends) -> None:
        with contextlib.suppress(OSError, trio.BrokenResourceError):
            async with await ends.stream() as stream:
                await ends.upgrade(stream, ends.usual())
                live = ends.on(stream)
                for number in range(100_000):
                    await live.say(id=number, ask={"do": "filters"})

    async def all_of_them() -> None:
        with trio.move_on_after(_HELD * 2):
            async with trio.open_nursery() as nursery:
                for _ in range(8):
                    nursery.start_soon(asking, Ends(target.panel, {}))

    trio.run(all_of_them)


def unfinished_posts(target: Target) -> None:
    """Eighty requests whose bodies never come."""
    host = f"127.0.0.1:{target.panel}"
    head = f"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: 100\r\n\r\ncode="
    with contextlib.ExitStack() as stack, contextlib.suppress(OSError):
        for _ in range(80):
            talk = stack.enter_context(socket.create_connection(("127.0.0.1", target.panel), 5))
            talk.sendall(head.encode())
        time.sleep(_HELD)


# Files that are none


def _sounds_from(make: Callable[[Path], str]) -> Callable[[Target], None]:
    def attack(target: Target) -> None:
        wanted = make(target.folder)
        text = target.rig.replace('sounds = { "Warm" = { program = 12 } }', f'sounds_from = "{wanted}"')
        replace_file(target.rig_file, text)
        time.sleep(_ROUND)
        replace_file(target.rig_file, target.rig)
        time.sleep(_ROUND)

    return attack


def _a_fifo(folder: Path) -> str:
    with contextlib.suppress(FileExistsError):
        os.mkfifo(folder / "sounds.toml")
    return "sounds.toml"


def _a_bomb(folder: Path) -> str:
    (folder / "bomb.toml").write_text(dotted(""))
    return "bomb.toml"


# Floods


def datagrams(target: Target) -> None:
    """Datagrams as fast as they go: good ones, bad ones, and some of a stranger."""
    good = b"/bayleaf/state\0\0,\0\0\0"
    bad = (
        b"",
        b"\0" * 4000,
        b"#bundle\0" + bytes(8) + b"\xff\xff\xff\xfc",
        good[:-1],
        b"/bayleaf/nowhere\0\0\0\0,\0\0\0",
    )
    with _udp("127.0.0.1") as friend, _udp("127.0.0.2") as stranger:
        for data in (good, *bad) * 200:
            with contextlib.suppress(BlockingIOError):
                friend.sendto(data, ("127.0.0.1", target.osc))
                stranger.sendto(good, ("127.0.0.1", target.osc))


@contextlib.contextmanager
def _udp(address: str) -> Any:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.bind((address, 0))
        made.setblocking(False)
        yield made


def garbage(target: Target) -> None:
    """Nonsense on the engine's socket, lines that never end, and many connections that say nothing."""
    for data in (
        b"\xff" * 5000,
        b"[" * 100_000 + b"\n",
        b'{"do": ' + b"9" * 100_000 + b"}\n",
        b"\n" * 20_000,
        b"{}\n" * 2000,
    ):
        _say(target, data)
    _say(target, b"x" * (9 << 20))
    with contextlib.ExitStack() as stack, contextlib.suppress(OSError):
        for _ in range(100):
            talk = stack.enter_context(socket.socket(socket.AF_UNIX))
            talk.connect(str(target.control))
        time.sleep(0.2)


def endless_sysex(target: Target) -> None:
    """A megabyte of SysEx without an end at a routed input, then thousands of short ones."""
    _send(target, "PADS", b"\xf0\x7d" + bytes(500_000))
    _send(target, "PADS", b"\xf7" + bytes.fromhex("F0 7E 7F 06 01 F7") * 20_000)


def sysex_at_remote(target: Target) -> bytes:
    """Requests for backups, scenes and routing at the input of `[remote]`, without a pause."""
    asked = [own(DEVICE, command) for command in (0x05, 0x06, 0x08)]
    return b"".join(asked) * 2000


class Attack(NamedTuple):
    """`make` makes it once; `rig`: what the stage's rig needs for it.

    `alone`: it needs a stage of its own.
    """

    make: Callable[[Target], None]
    rig: str = ""
    alone: bool = False


NETWORK: Final = """
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "127.0.0.1:PORT" }
left = { listen = "127.0.0.1:PORT" }
[inputs.away]
machine = "left"
port = "Away"
[outputs.far]
machine = "left"
port = "Far"
"""

_BY_SYSEX: Final[dict[str, Callable[[Target], bytes]]] = {
    **{f"dump: {name}": _dumped(bomb) for name, bomb in _BOMBS.items() if name != "20 MB"},
    "dump: 4 MB of one letter": bomb_in_zip,
    "dump: 3,000 small blocks": many_blocks,
    "requests by SysEx": sysex_at_remote,
}
_OTHERS: Final[dict[str, Callable[[Target], None]]] = {
    **{f"file: {name}": _in_the_file(bomb) for name, bomb in _BOMBS.items()},
    **{f"restore: {name}": _restored(bomb) for name, bomb in _BOMBS.items() if name != "20 MB"},
    "browsers: rig": _browsers({"do": "rig"}),
    "browsers: explain": _browsers({"do": "explain", "scene": 1, "input": "keys", "message": "90 3C 40"}),
    "browsers: status, filters, ports": _browsers({"do": "status"}, {"do": "filters"}, {"do": "ports"}),
    "browsers that never read": deaf_browsers,
    "unfinished posts": unfinished_posts,
    "sounds_from: a FIFO": _sounds_from(_a_fifo),
    "sounds_from: /dev/zero": _sounds_from(lambda folder: "/dev/zero"),
    "sounds_from: a bomb": _sounds_from(_a_bomb),
    "datagrams": datagrams,
    "garbage on the socket": garbage,
    "endless SysEx": endless_sysex,
}
ATTACKS: Final = {
    **{name: Attack(make) for name, make in _OTHERS.items()},
    **{name: Attack(_sent(fifo, made)) for fifo, (name, made) in zip(REMOTES, _BY_SYSEX.items(), strict=True)},
    **{f"a machine's {make.__name__}": Attack(make, NETWORK, True) for make in (nonsense, flood, flapping)},
}


def main(arguments: Sequence[str]) -> None:
    target = Target.unpacked(arguments[0])
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nothing is left of those that were killed
    os.nice(10)  # an attacker's machine is another one, whose work does not slow down ours
    for name in sys.stdin:
        attacker = os.fork()
        while not attacker:
            ATTACKS[name.strip()].make(target)
        print(attacker, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])

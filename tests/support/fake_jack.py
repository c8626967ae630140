"""The C client of `engine.ports.jack_client` on a JACK library whose cycles a test makes by hand (fake_jack.c)."""

import ctypes
import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from tests.support.needed import need
from tests.support.paths import ROOT

FRAMES: Final = 64
FRAME_NS: Final = 1e9 / 48_000
PERIOD_NS: Final = FRAMES * FRAME_NS
EVERYTHING: Final = 1 << 20  # bytes of the longest message here
INPUT_RING: Final = 1 << 18

_SOURCES: Final = ROOT / "engine" / "ports" / "jack_client"
_PARTS: Final = ("client.c", "process.c", "ring.c")


@cache
def compiled(*sources: Path) -> ctypes.CDLL:
    """These C files as a library. Warnings are errors."""
    need("cc")
    with TemporaryDirectory() as folder:
        library = Path(folder) / "part.so"
        flags = [
            "-std=c11",
            "-D_GNU_SOURCE",
            "-O1",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-shared",
            "-fPIC",
            "-Dclock_gettime=fake_clock_gettime",
        ]
        subprocess.run(["cc", *flags, f"-I{_SOURCES}", "-o", library, *sources], check=True)
        return ctypes.CDLL(str(library))


def ring_library() -> ctypes.CDLL:
    """`ring.c` alone."""
    return compiled(_SOURCES / "ring.c")


class FakeJack:
    """A client with ports; `cycle` is one period of the server, `now` the time at which it begins (ns)."""

    def __init__(self) -> None:
        self._c = compiled(*(_SOURCES / part for part in _PARTS), Path(__file__).with_name("fake_jack.c"))
        self._c.client_open.restype = ctypes.c_void_p
        self._c.fake_read.restype = self._c.fake_heard.restype = ctypes.c_long
        self._c.fake_lost.restype = self._c.fake_missed.restype = self._c.fake_kept.restype = ctypes.c_uint32
        wrong = ctypes.c_char_p()
        self._client = ctypes.c_void_p(self._c.client_open(b"pit", ctypes.byref(wrong)))
        self._bytes = ctypes.create_string_buffer(EVERYTHING)
        self._begin = 1_000_000_000  # us
        self._cycles = 0
        self.room(1 << 16)
        self.turns(1)

    @property
    def now(self) -> float:
        """When the next cycle begins (ns of its clock)."""
        return 1000 * self._begin + self._cycles * PERIOD_NS

    def room(self, size: int) -> None:
        """How many bytes each port's buffer takes from now on."""
        self._c.fake_room(ctypes.c_size_t(size))

    def turns(self, buffers: int) -> None:
        """How many buffers each port has from now on (1 to 3), which take turns with the cycles."""
        self._c.fake_turns(buffers)

    def cycle(self, skipped: int = 0, late: int = 0, delay: int = 0) -> None:
        """One period, after some that passed without us; the server awakes `late` us after its beginning, and calls us
        another `delay` us later."""
        self._cycles += skipped
        begin = ctypes.c_uint64(round(self.now / 1000))
        self._c.fake_cycle(begin, ctypes.c_int64(late), ctypes.c_int64(delay))
        self._cycles += 1

    def open(self, is_output: bool) -> int:
        """A port; its place, or -1."""
        place: int = self._c.client_open_port(self._client, is_output, b"port")
        return place

    def close_port(self, place: int) -> bool:
        """Whether the process thread was out of it."""
        return not self._c.client_close_port(self._client, place)

    def play(self, place: int, frame: int, data: bytes) -> bool:
        """Other programs play this to an input in the next cycle; whether its buffer had room."""
        return bool(self._c.fake_play(self._client, place, frame, data, ctypes.c_size_t(len(data))))

    def silence(self, place: int) -> None:
        """Nothing more is in the input's buffer."""
        self._c.fake_clear(self._client, place)

    def lose(self, place: int) -> None:
        """The library has no room for a message to this input."""
        self._c.fake_lose(self._client, place)

    def read(self, place: int) -> list[tuple[int, bytes]]:
        """All that an input has brought, with times."""
        found, at = [], ctypes.c_int64()
        while (size := self._c.fake_read(self._client, place, ctypes.byref(at), self._bytes)) >= 0:
            found.append((at.value, ctypes.string_at(self._bytes, size)))
        return found

    def send(self, place: int, data: bytes, at: float = 0) -> bool:
        """Whether there was room for it."""
        return not self._c.fake_send(self._client, place, ctypes.c_int64(round(at)), data, len(data))

    def heard(self, place: int) -> list[tuple[int, bytes]]:
        """What an output has sent in the last cycle: frames and bytes."""
        found: list[tuple[int, bytes]] = []
        frame = ctypes.c_uint32()
        while (size := self._c.fake_heard(self._client, place, len(found), ctypes.byref(frame), self._bytes)) >= 0:
            found.append((frame.value, ctypes.string_at(self._bytes, size)))
        return found

    def lost(self, place: int) -> int:
        """Messages of a port that found no room."""
        lost: int = self._c.fake_lost(self._client, place)
        return lost

    @property
    def missed(self) -> int:
        """Periods that passed without us."""
        missed: int = self._c.fake_missed(self._client)
        return missed

    def kept(self, place: int) -> int:
        """Bytes of long messages that are kept for an output."""
        kept: int = self._c.fake_kept(self._client, place)
        return kept

    def close(self) -> None:
        """Give everything back."""
        self._c.client_close(self._client)

"""What part `jack` needs: a JACK server of its own, programs built from this folder, a player and listener."""

import shutil
import subprocess
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from bench.contenders import end
from bench.load import INPUTS, OUTPUTS, RATE, SECOND, WARM, ever_new, outputs_of
from bench.machine import family_time

SERVER: Final = "bayleaf-bench"
PERIOD: Final = 64  # frames at 48 kHz: 1.33 ms
PACKAGES: Final = "apt-get install jackd2 g++ pkg-config libjack-jackd2-dev librtmidi-dev"
_HERE: Final = Path(__file__).parent
_LOST_AFTER: Final = SECOND  # a message is lost if it has not arrived by then; the same bytes come again later
_DEADLINE: Final = 10.0  # seconds for something to end

Change = Callable[[int, bytes], bytes]


class Missing(Exception):
    """Something that this part needs is not there; the text says what."""


def build(folder: Path, name: str, *flags: str) -> str:
    """Compile a program of this folder; returns its path."""
    compiler, program = shutil.which("g++"), folder / name
    if compiler is None:
        raise Missing(f"there is no g++ ({PACKAGES})")
    command = [compiler, "-O2", "-o", str(program), str(_HERE / f"{name}.cpp"), *flags]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        first = next(iter(done.stderr.splitlines()), "")
        raise Missing(f"{name}.cpp does not compile ({first}); {PACKAGES}")
    return str(program)


def rtmidi_flags() -> list[str]:
    """The compiler flags for RtMidi."""
    if shutil.which("pkg-config") is None:
        raise Missing(f"there is no pkg-config ({PACKAGES})")
    known = subprocess.run(["pkg-config", "--cflags", "--libs", "rtmidi"], capture_output=True, text=True, check=False)
    if known.returncode:
        raise Missing(f"RtMidi's headers are not there ({PACKAGES})")
    return known.stdout.split()


@contextmanager
def server(folder: Path) -> Iterator[str]:
    """A JACK server until the end of the block, with real-time scheduling if allowed; gives a sentence about it."""
    if shutil.which("jackd") is None:
        raise Missing(f"there is no jackd ({PACKAGES})")
    log = folder / "jackd.txt"
    for how in (("-R", "-P", "30"), ("-r",)):
        command = ["jackd", *how, "-n", SERVER, "-d", "dummy", "-r", "48000", "-p", str(PERIOD)]
        with log.open("wb") as talk:
            process = subprocess.Popen(command, stdout=talk, stderr=talk)
        time.sleep(1.0)  # without permission for real-time scheduling it has ended by then
        if process.poll() is None:
            break
    else:
        raise Missing(f"the JACK server does not start (status {process.returncode}); start it by hand to see why")
    try:
        yield f"Server: `{' '.join(command)}`, {1000 * PERIOD / 48000:.2f} ms a period."
    finally:
        end(process)


def plain(source: int, message: bytes) -> bytes:
    """What comes out of a bare forwarder."""
    return message


def changed(source: int, message: bytes) -> bytes:
    """What comes out of a short chain: an octave higher, on the next channel."""
    status = message[0] & 0xF0 | (source + 1) % 16
    return bytes((status, message[1] + (12 if status < 0xA0 else 0), message[2]))


class Probe:
    """The near side of `probe.cpp`."""

    def __init__(self, folder: Path) -> None:
        """Raises Missing."""
        self._folder = folder
        self._cycles = [ever_new(source, WARM) for source in range(INPUTS)]
        script = folder / "script"
        script.write_bytes(b"".join(message for cycle in self._cycles for message in cycle))
        command = [build(folder, "probe", "-ljack"), str(INPUTS), str(OUTPUTS), str(RATE), str(script)]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def turn(
        self,
        name: str,
        process: int,
        change: Change,
        warm_up: float,
        seconds: float,
        measuring: Callable[[], object] = lambda: None,
    ) -> dict[str, list[float]]:
        """Play to the contender with this name in its ports: latencies in ns; CPU, lost, cycles missed, strays.

        `measuring` is called when the warm-up is over. Raises Missing.
        """
        file = self._folder / "heard"
        self._say(f"{name} {warm_up} {seconds} {file}")
        self._hear("ready")
        self._hear("measuring")
        measuring()
        begin, used = time.monotonic(), family_time(process)
        self._hear("played")
        share = 100 * (family_time(process) - used) / (time.monotonic() - begin)
        missed = float(self._hear("done").split()[1])
        times, lost, strays = self._matched(file, change, warm_up)
        return {"times": times, "CPU": [share], "lost": [lost], "cycles missed": [missed], "strays": [strays]}

    def close(self) -> None:
        """End it."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(_DEADLINE)

    def _say(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def _hear(self, wanted: str) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line.startswith(wanted):
            how = f"ended with {self._process.wait(_DEADLINE)}" if not line else f"said {line!r}"
            raise Missing(f"the player and listener {how} where {wanted} was due")
        return line

    def _matched(self, file: Path, change: Change, warm_up: float) -> tuple[list[float], float, float]:
        """Latencies of all messages due after the warm-up; how many are lost, and how many came that were not sent."""
        lines = iter(file.read_text(encoding="ascii").splitlines())
        begin, *counts = (int(word) for word in next(lines).split()[1:])
        owed = self._owed(begin, counts, change)
        counted_from = begin + int(warm_up * SECOND)
        times: list[float] = []
        strays = 0.0
        for line in lines:
            output, at, message = line.split()
            waiting, arrived = owed.get((int(output), message)), int(at)
            while waiting and waiting[0] + _LOST_AFTER < arrived:
                waiting.popleft()
            if not waiting or waiting[0] > arrived:
                strays += 1
                continue
            due = waiting.popleft()
            if due >= counted_from:
                times.append(arrived - due)
        sent = sum(
            len(outputs_of(source)) * max(0, count - _first_after(counted_from - begin, source))
            for source, count in enumerate(counts)
        )
        return times, float(sent - len(times)), strays

    def _owed(self, begin: int, counts: Sequence[int], change: Change) -> dict[tuple[int, str], deque[int]]:
        """For each output and message (in hexadecimal), when it was due, in order."""
        owed: dict[tuple[int, str], deque[int]] = {}
        for source, count in enumerate(counts):
            made = [change(source, message).hex() for message in self._cycles[source]]
            for number in range(count):
                due = begin + (number * INPUTS + source) * SECOND // (RATE * INPUTS)
                for output in outputs_of(source):
                    owed.setdefault((output, made[number % WARM]), deque()).append(due)
        return owed


def _first_after(since: int, source: int) -> int:
    """The number of an input's first message due at least `since` ns after the beginning."""
    number = max(0, since * RATE // SECOND - 1)
    while (number * INPUTS + source) * SECOND // (RATE * INPUTS) < since:
        number += 1
    return number

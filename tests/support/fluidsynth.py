"""FluidSynth as a judge: it plays what arrives through JACK, and answers questions in its own shell."""

import socket
import subprocess
from pathlib import Path

from tests.support.waiting import until

# Debian package timgm6mb-soundfont
SOUNDS = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
SHELL_PORT = 19800
#: part of a rig: the output to it, and one instrument on it
LEAD = """\
[outputs]
synth = { port = "fluidsynth-midi*", wire = "din" }
[instruments.lead]
output = "synth"
channel = 1
bank = "msb lsb"
settle = "20 ms"
sounds = { "Church" = { bank = [0, 0], program = 20 }, "Electric" = { bank = [0, 0], program = 5 } }
"""


class FluidSynth:
    """On the JACK server of this process; bank number = MSB x 128 + LSB (its bank-select mode "mma")."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes]

    def start(self) -> None:
        """Switch it on; returns once its shell answers."""
        command = ["fluidsynth", "-a", "jack", "-m", "jack", "-s", "-i", "-o", f"shell.port={SHELL_PORT}"]
        command += ["-o", "synth.midi-bank-select=mma", "-o", "audio.jack.autoconnect=0", str(SOUNDS)]
        null = subprocess.DEVNULL
        self._process = subprocess.Popen(command, stdin=null, stdout=null, stderr=null)
        until("FluidSynth's shell", lambda: self._process.poll() is None and _listening())

    def off(self) -> None:
        """Switch it off: it forgets everything."""
        self._process.kill()
        self._process.wait()

    def ask(self, question: str) -> list[str]:
        """The lines of its shell's answer."""
        said = b""
        with socket.create_connection(("127.0.0.1", SHELL_PORT), timeout=10) as shell:
            shell.sendall(f"{question}\necho that-is-all\n".encode())
            while b"that-is-all" not in said:
                piece = shell.recv(65536)
                assert piece, f"its shell went away after {said!r}"
                said += piece
        return [line.removeprefix("> ") for line in said.decode(errors="replace").splitlines()]

    def sound(self, channel: int) -> str | None:
        """The name of the sound on a channel (1 to 16)."""
        wanted = f"chan {channel - 1}, "
        return next((line.removeprefix(wanted) for line in self.ask("channels") if line.startswith(wanted)), None)

    def voices(self) -> int:
        """How many voices sound."""
        counts = [line.rsplit(":", 1)[-1] for line in self.ask("voice_count") if "voice_count" in line]
        assert len(counts) == 1, counts
        return int(counts[0])


def _listening() -> bool:
    try:
        with socket.create_connection(("127.0.0.1", SHELL_PORT), timeout=1):
            return True
    except OSError:
        return False

"""A first rig on a machine that has JACK and no ALSA: its ports found, named, asked and played."""

import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import rtmidi

from engine.ports import rtmidi_system
from engine.rig.read.load import load
from tests.support.engine_process import engine
from tests.support.paths import BAYLEAF
from tests.support.simulated_instrument import IDENTITY, INQUIRY
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK
SAID = "no ALSA sequencer on this system; using the JACK server that is running\n"

pytestmark = pytest.mark.skipif(Path(rtmidi_system._ALSA_SEQUENCER).exists(), reason="this system has ALSA")


class Synth:
    """A program with an input and an output, as soft synths have them; it identifies itself."""

    def __init__(self) -> None:
        self.heard: list[bytes] = []
        self._into, self._out = rtmidi.MidiIn(JACK, name="Choir synth"), rtmidi.MidiOut(JACK, name="Stage piano")
        self._into.ignore_types(False, False, False)
        self._into.open_virtual_port("midi_00")
        self._out.open_virtual_port("midi_00")
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def play(self, message: bytes) -> None:
        self._out.send_message(message)

    def end(self) -> None:
        self._over.set()
        self._thread.join()
        self._into.delete()
        self._out.delete()

    def _live(self) -> None:
        while not self._over.wait(0.001):
            while event := self._into.get_message():
                self.heard.append(bytes(event[0]))
                if self.heard[-1] == INQUIRY:
                    self._out.send_message(IDENTITY)


@pytest.fixture
def synth(jack_server: str) -> Iterator[Synth]:
    made = Synth()
    yield made
    made.end()


def _run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([BAYLEAF, *words], capture_output=True, text=True, timeout=60, check=False)


def test_from_the_ports_to_the_first_note(synth: Synth, tmp_path: Path) -> None:
    """Without any option, `ports`, `new` and `run` find JACK and say so; the rig has the gear's names and what
    answered; and the first key that is pressed sounds."""
    listed = _run("ports")
    assert listed.stderr == SAID
    assert "Choir synth:midi_00" in listed.stdout
    file = tmp_path / "first.toml"
    made = _run("new", file)
    assert made.stderr == SAID + "asking at 1 output which device is there …\n"
    assert "1 input, 1 output, 1 device identified" in made.stdout
    rig = load(file)
    assert (list(rig.inputs), list(rig.outputs)) == (["stage-piano"], ["choir-synth"])
    assert _run("check", file).returncode == 0
    with engine(tmp_path, file.read_text()) as pit:
        assert pit.said().startswith(SAID)
        synth.play(b"\x90\x3c\x40")
        until("the note", lambda: any(message[0] & 0xF0 == 0x90 for message in synth.heard))
        synth.play(b"\x80\x3c\x40")

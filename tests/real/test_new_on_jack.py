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
from tests.support.rtmidi_closing import close_safely
from tests.support.simulated_instrument import IDENTITY, INQUIRY
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK
SAID = "no ALSA sequencer on this system; using the JACK server that is running\n"

pytestmark = pytest.mark.skipif(Path(rtmidi_system._ALSA_SEQUENCER).exists(), reason="this system has ALSA")


class Gear:
    """A keyboard and two synths, as programs on JACK; the first synth identifies itself at the keyboard's port."""

    def __init__(self) -> None:
        self.heard: dict[str, list[bytes]] = {"Choir synth": [], "Bass box": []}
        self._keys = rtmidi.MidiOut(JACK, name="Stage piano")
        self._keys.open_virtual_port("midi_00")
        self._synths = {name: self._synth(name) for name in self.heard}
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    @staticmethod
    def _synth(name: str) -> rtmidi.MidiIn:
        port = rtmidi.MidiIn(JACK, name=name)
        port.ignore_types(False, False, False)
        port.open_virtual_port("midi_00")
        return port

    def play(self, *messages: str) -> None:
        for message in messages:
            self._keys.send_message(bytes.fromhex(message))

    def has_heard(self, synth: str, message: str) -> bool:
        return bytes.fromhex(message) in self.heard[synth]

    def end(self) -> None:
        self._over.set()
        self._thread.join()
        for port in (self._keys, *self._synths.values()):
            close_safely(port)

    def _live(self) -> None:
        while not self._over.wait(0.001):
            for name, port in self._synths.items():
                while event := port.get_message():
                    self.heard[name].append(bytes(event[0]))
                    if (name, self.heard[name][-1]) == ("Choir synth", INQUIRY):
                        self._keys.send_message(IDENTITY)


@pytest.fixture
def gear(jack_server: str) -> Iterator[Gear]:
    made = Gear()
    yield made
    made.end()


def _run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([BAYLEAF, *words], capture_output=True, text=True, timeout=60, check=False)


def test_from_the_ports_to_a_split_with_two_sounds(gear: Gear, tmp_path: Path) -> None:
    """Without any option, `ports`, `new` and `run` find JACK and say so; the rig has the gear's names and what
    answered, and the first key that is pressed sounds. Two more lines in the file make a split with two sounds: six
    commands and edits in all."""
    listed = _run("ports")
    assert listed.stderr == SAID
    assert "Choir synth:midi_00" in listed.stdout
    file = tmp_path / "first.toml"
    made = _run("new", file)
    assert made.stderr == SAID + "asking at 2 outputs which device is there …\n"
    assert "1 input, 2 outputs, 1 device identified" in made.stdout
    rig = load(file)
    assert (list(rig.inputs), list(rig.outputs)) == (["stage-piano"], ["choir-synth", "bass-box"])
    text = file.read_text(encoding="utf-8")
    for name, program in (("choir-synth", 53), ("bass-box", 34)):
        text = text.replace(
            f'output  = "{name}"\n', f'output  = "{name}"\nsounds = {{ "Mine" = {{ program = {program} }} }}\n'
        )
        text = text.replace(f'on = "{name}", notes', f'on = "{name}", sound = "Mine", notes')
    file.write_text(text, encoding="utf-8")
    assert _run("check", file).returncode == 0
    with engine(tmp_path, text) as pit:
        assert pit.said().startswith(SAID)
        gear.play("90 3C 40", "80 3C 40")
        until("the first note", lambda: gear.has_heard("Choir synth", "80 3C 40"))
        assert pit.ask("scene", "2").returncode == 0
        until("both sounds", lambda: gear.has_heard("Choir synth", "C0 34") and gear.has_heard("Bass box", "C0 21"))
        gear.play("90 30 40", "90 48 40", "80 30 40", "80 48 40")
        until(
            "both hands", lambda: gear.has_heard("Choir synth", "80 48 40") and gear.has_heard("Bass box", "80 24 40")
        )
        assert not gear.has_heard("Choir synth", "90 30 40")

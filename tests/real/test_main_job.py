"""The main job on a real JACK server: real music through the router, and bursts played by a synthesizer."""

import threading
from pathlib import Path

import mido
import rtmidi

from tests.support.engine_process import engine, hear, joined, play, player
from tests.support.fluidsynth import LEAD, FluidSynth
from tests.support.jack_missed import carried, missed_periods
from tests.support.songs import PLAIN, song_file
from tests.support.waiting import until

JACK = rtmidi.API_UNIX_JACK


def song(most: int = 3000) -> list[mido.Message]:
    """A real file's messages in order, read by mido."""
    return [message for message in mido.MidiFile(song_file(PLAIN)) if not message.is_meta][:most]


ONE_CABLE = """
format = 1
[inputs]
keys = { port = "Stage piano*" }
[outputs]
strings = { port = "Eight-way box*1" }
[[scenes]]
number = 1
"""

IDENTITY = (
    ONE_CABLE
    + """
name = "All"
routes = [ { from = "keys", to = "strings" } ]
"""
)

FILTERED = (
    ONE_CABLE
    + """
name = "Some"
routes = [ { from = "keys", to = "strings", through = [
  { filter = "strip", kinds = ["pitch_bend", "controller 10"] },
  { filter = "zone", notes = [36, 84] },
  { filter = "transpose", semitones = -5 },
  { filter = "channels", drop = [10] },
] } ]
"""
)


def reference(message: mido.Message) -> mido.Message | None:
    """What FILTERED makes of a message, written with mido alone."""
    if message.type == "pitchwheel" or (message.type == "control_change" and message.control == 10):
        return None
    if hasattr(message, "channel") and message.channel == 9:
        return None
    if message.type in ("note_on", "note_off", "polytouch"):
        return message.copy(note=message.note - 5) if 36 <= message.note <= 84 else None
    return message


def through_bayleaf(tmp_path: Path, rig: str, messages: list[bytes], expected: list[bytes]) -> None:
    """Play messages into `bayleaf run --virtual` and hold what comes out against what is expected, both by
    python-rtmidi alone."""
    with (
        engine(tmp_path, rig, "--virtual", "--backend", "jack"),
        joined(rtmidi.MidiIn, JACK, "recorder", lambda name: "pit" in name and name.endswith("strings")) as recorder,
        joined(rtmidi.MidiOut, JACK, "sequencer", lambda name: "pit" in name and name.endswith("keys")) as sequencer,
    ):
        heard: list[bytes] = []
        listener = threading.Thread(target=lambda: heard.extend(hear(recorder, len(expected))))
        listener.start()
        play(sequencer, messages)
        listener.join()
    assert heard == expected


def test_a_real_song_comes_out_complete_and_in_order(jack_server: str, tmp_path: Path) -> None:
    """A route without filters passes on a Standard MIDI File complete and in order, through real ports."""
    messages = [bytes(message.bytes()) for message in song()]
    assert len(messages) > 1000
    with missed_periods() as missed:
        carried(missed, lambda: through_bayleaf(tmp_path, IDENTITY, messages, messages))


def test_a_real_song_is_filtered_as_mido_says(jack_server: str, tmp_path: Path) -> None:
    """A filtered route gives exactly what reference code written with mido gives (mido 1.3.3, general purpose)."""
    played = song()
    expected = [bytes(kept.bytes()) for message in played if (kept := reference(message)) is not None]
    assert 100 < len(expected) < len(played)
    messages = [bytes(message.bytes()) for message in played]
    with missed_periods() as missed:
        carried(missed, lambda: through_bayleaf(tmp_path, FILTERED, messages, expected))


WITH_SYNTH = (
    """
format = 1
[rig]
start = 1
[inputs]
foot = { port = "*Foot controller*" }
old-keys = { port = "*Old keyboard*" }
"""
    + LEAD
    + """[[routes]]
from = "old-keys"
to = "synth"
through = [ { filter = "add_bank", programs = { 7 = { bank = [1, 0], program = 26 } } } ]
[[scenes]]
number = 1
name = "Church"
burst = [
  { instrument = "lead", sound = "Church" },
  { output = "synth", channel = 3, bank = [0, 0], program = 12 },
]
[[scenes]]
number = 2
name = "Electric"
burst = [ { instrument = "lead", sound = "Electric" } ]
[[controls]]
input = "foot"
when = { program = "any" }
do = "scene"
"""
)


def test_a_synthesizer_hears_each_scenes_burst(synth: FluidSynth, tmp_path: Path) -> None:
    """FluidSynth is on the sounds that a scene's burst selects, then on those of the next scene, recalled by foot; and
    `add_bank` lets a bare program change reach another bank. Sound names: TimGM6mb's own preset list."""
    with (
        player(JACK, "Foot controller") as foot,
        player(JACK, "Old keyboard") as keyboard,
        engine(tmp_path, WITH_SYNTH, "--backend", "jack") as running,
    ):
        until("the first scene's organ", lambda: synth.sound(1) == "Church Organ")
        until("the first scene's vibraphone", lambda: synth.sound(3) == "Vibraphone")
        foot.send_message(bytes.fromhex("C0 01"))
        until("the second scene's piano", lambda: synth.sound(1) == "E.Piano 1")
        assert synth.sound(3) == "Vibraphone"
        status = running.status()
        assert status is not None
        assert status["scene"] == {"number": 2, "name": "Electric"}
        keyboard.send_message(bytes.fromhex("C4 06"))  # program 7 on channel 5, which the rig sends to another bank
        until("the drum kit of bank 128", lambda: synth.sound(5) == "TR 808")
        keyboard.send_message(bytes.fromhex("C4 07"))  # not in the map: it passes unchanged, in the current bank
        done = running.ask("scene", "1")
        assert done.returncode == 0
        assert done.stdout.startswith("scene 1 Church")
        until("the first scene's organ again", lambda: synth.sound(1) == "Church Organ")


def test_a_sound_is_auditioned_by_name_and_the_old_one_put_back(synth: FluidSynth, tmp_path: Path) -> None:
    """`sounds --audition` puts the synthesizer on the sound of that General MIDI name (RP-003, Table 2), and back."""
    rig = WITH_SYNTH.replace("sounds = {", 'sounds_from = "general-midi"\nsounds = {')
    heard: list[str | None] = []
    with (
        player(JACK, "Foot controller"),
        player(JACK, "Old keyboard"),
        engine(tmp_path, rig, "--backend", "jack") as run,
    ):
        until("the first scene's organ", lambda: synth.sound(1) == "Church Organ")
        done: list[int] = []
        asked = threading.Thread(
            target=lambda: done.append(run.ask("sounds", str(run.file), "viol", "in", "--audition").returncode)
        )
        asked.start()
        while asked.is_alive():
            heard.append(synth.sound(1))
        asked.join()
        assert done == [0]
        assert "Violin" in heard
        until("the organ again", lambda: synth.sound(1) == "Church Organ")
        until("silence", lambda: synth.voices() == 0)


def test_no_voice_is_left_when_the_engine_ends(synth: FluidSynth, tmp_path: Path) -> None:
    """A key held while the engine is stopped is released: FluidSynth's voice count goes to zero."""
    with player(JACK, "Foot controller"), player(JACK, "Old keyboard") as keyboard:
        with engine(tmp_path, WITH_SYNTH, "--backend", "jack"):
            until("the first scene's organ", lambda: synth.sound(1) == "Church Organ")
            keyboard.send_message(bytes.fromhex("90 3C 64"))
            until("a voice", synth.voices)
        until("silence", lambda: synth.voices() == 0)

"""Which MIDI system is opened where none is named."""

import sys

import pytest
import rtmidi

from engine.ports import open_system as opening
from engine.ports import rtmidi_system
from engine.ports.memory import MemorySystem
from engine.ports.open_system import open_system
from engine.ports.port import PortError


@pytest.fixture(autouse=True)
def _no_sequencer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(rtmidi_system, "_ALSA_SEQUENCER", "/dev/snd/no-such-sequencer")
    monkeypatch.setattr(rtmidi, "get_compiled_api", lambda: [rtmidi.API_LINUX_ALSA])


def test_jack_takes_the_place_of_a_missing_alsa(monkeypatch: pytest.MonkeyPatch) -> None:
    """On Linux without the ALSA sequencer, a running JACK server is found by itself, and one sentence says so."""
    jack, said = MemorySystem("pit"), list[str]()
    monkeypatch.setattr(opening, "_jack", lambda client: jack)
    assert open_system(None, "pit", said.append) is jack
    assert said == ["no ALSA sequencer on this system; using the JACK server that is running"]


def test_a_backend_that_was_asked_for_is_the_only_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """`--backend alsa` never becomes JACK."""
    monkeypatch.setattr(opening, "_jack", lambda client: MemorySystem("pit"))
    with pytest.raises(PortError, match=r"no ALSA sequencer .*; load snd-seq, or use --backend jack"):
        open_system("alsa", "pit")


def test_without_either_the_remedies_of_both_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither ALSA nor JACK: one sentence names what to do for each."""

    def refuse(client: str) -> None:
        raise PortError("not running")

    monkeypatch.setattr(opening, "_jack", refuse)
    with pytest.raises(PortError, match=r"no ALSA sequencer, and no JACK server is running; load ALSA's .*, or start"):
        open_system(None, "pit")

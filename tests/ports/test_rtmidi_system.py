"""The errors that a player reads where a MIDI service is missing."""

import pytest
import rtmidi

from engine.ports import rtmidi_system
from engine.ports.port import PortError


def test_no_sequencer_is_reported(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    """Without the ALSA sequencer there is one sentence with a remedy, and nothing from the driver."""
    monkeypatch.setattr(rtmidi_system, "_ALSA_SEQUENCER", "/dev/snd/no-such-sequencer")
    monkeypatch.setattr(rtmidi, "get_compiled_api", lambda: [rtmidi.API_LINUX_ALSA])
    with pytest.raises(PortError, match=r"no ALSA sequencer .*; load snd-seq, or use --backend jack"):
        rtmidi_system.RtmidiSystem("alsa", "bayleaf")
    captured = capfd.readouterr()
    assert captured.out + captured.err == ""


def test_a_service_of_another_system_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """A backend that python-rtmidi lacks here is named, and no other one is used instead."""
    monkeypatch.setattr(rtmidi, "get_compiled_api", lambda: [rtmidi.API_LINUX_ALSA])
    with pytest.raises(PortError, match='the backend "winmm" is not built into python-rtmidi on this system'):
        rtmidi_system.RtmidiSystem("winmm", "bayleaf")

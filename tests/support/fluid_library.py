"""FluidSynth as a library, without any driver: it is given messages, and says or sounds what they have set.

What it does with parameters is in its documentation ("MIDI messages": RPN 0 to 2, SoundFont 2.04 NRPNs, tuning SysEx).
"""

import ctypes
import ctypes.util
from collections.abc import Iterable
from itertools import pairwise
from typing import Any, Final

from tests.support.fluidsynth import SOUNDS
from tests.support.needed import need

#: generators of SoundFont 2.04 (8.1.2): coarse tuning in semitones, fine tuning in cents
COARSE, FINE = 51, 52
_RATE: Final = 44_100
_FLUTE: Final = 74  # a sound with a clear pitch


class FluidLibrary:
    """A synth with sixteen channels, 0 to 15."""

    def __init__(self) -> None:
        need(SOUNDS)
        need("fluidsynth")  # the program comes with the library
        name = ctypes.util.find_library("fluidsynth")
        assert name is not None
        self._library = ctypes.CDLL(name)
        settings = self._call("new_fluid_settings", ctypes.c_void_p)
        for effect in (b"synth.reverb.active", b"synth.chorus.active"):
            self._call("fluid_settings_setint", ctypes.c_int, ctypes.c_void_p(settings), effect, 0)
        self._synth = ctypes.c_void_p(self._call("new_fluid_synth", ctypes.c_void_p, ctypes.c_void_p(settings)))
        assert self._ask("sfload", str(SOUNDS).encode(), 1) >= 0

    def off(self) -> None:
        """It is not needed any more."""
        self._call("delete_fluid_synth", None, self._synth)

    def hear(self, messages: Iterable[bytes]) -> None:
        """Whole messages."""
        for message in messages:
            channel = message[0] & 0x0F
            match message[0] & 0xF0:
                case 0x80:
                    self._ask("noteoff", channel, message[1])
                case 0x90:
                    self._ask("noteon", channel, message[1], message[2])
                case 0xB0:
                    self._ask("cc", channel, message[1], message[2])
                case 0xC0:
                    self._ask("program_change", channel, message[1])
                case 0xD0:
                    self._ask("channel_pressure", channel, message[1])
                case 0xE0:
                    self._ask("pitch_bend", channel, message[1] | message[2] << 7)
                case 0xF0:
                    length, handled = ctypes.c_int(0), ctypes.c_int()
                    inside = message[1:-1]
                    self._ask(
                        "sysex", inside, len(inside), None, ctypes.byref(length), ctypes.byref(handled), ctypes.c_int(0)
                    )

    def bend_range(self, channel: int) -> int:
        """Semitones."""
        found = ctypes.c_int()
        self._ask("get_pitch_wheel_sens", channel, ctypes.byref(found))
        return found.value

    def generator(self, channel: int, number: int) -> float:
        """What a channel's NRPNs and tuning RPNs have set a SoundFont generator to."""
        return float(self._call("fluid_synth_get_gen", ctypes.c_float, self._synth, channel, number))

    def choose_sound(self, channel: int) -> None:
        """One whose pitch can be measured."""
        self._ask("program_change", channel, _FLUTE)

    def pitch(self, channel: int, key: int) -> float:
        """How many Hz a key sounds, which is pressed and released here."""
        self.choose_sound(channel)
        self._ask("noteon", channel, key, 100)
        found = self.sounding()
        self._ask("all_sounds_off", channel)
        self._render(_RATE // 2)
        return found

    def sounding(self) -> float:
        """How many Hz the only note that sounds has."""
        self._render(_RATE // 2)
        wave = self._render(_RATE)
        rising = [place + low / (low - high) for place, (low, high) in enumerate(pairwise(wave)) if low < 0 <= high]
        return (len(rising) - 1) * _RATE / (rising[-1] - rising[0])

    def _render(self, length: int) -> list[float]:
        left, right = (ctypes.c_float * length)(), (ctypes.c_float * length)()
        self._ask("write_float", length, left, 0, 1, right, 0, 1)
        return [*left]

    def _ask(self, name: str, *values: Any) -> int:
        return int(self._call(f"fluid_synth_{name}", ctypes.c_int, self._synth, *values))

    def _call(self, name: str, answer: Any, *values: Any) -> Any:
        function = getattr(self._library, name)
        function.restype = answer
        return function(*values)

"""The byte-stream codec of the system's libasound, as a second opinion on streams."""

import ctypes
from ctypes import byref, c_long, c_ubyte, c_void_p

_LONGEST = 4096
_EVENT_BYTES = 64  # snd_seq_event_t has 28


class AlsaCodec:
    """Turns bytes into whole messages with snd_midi_event. Raises OSError where the library is missing."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL("libasound.so.2")
        self._library.snd_midi_event_decode.restype = c_long
        self._encoder, self._decoder = c_void_p(), c_void_p()
        for codec in (self._encoder, self._decoder):
            assert self._library.snd_midi_event_new(_LONGEST, byref(codec)) == 0
        self._library.snd_midi_event_no_status(self._decoder, 1)

    def feed(self, data: bytes) -> list[bytes]:
        """The messages that these bytes complete."""
        event, buffer = (c_ubyte * _EVENT_BYTES)(), (c_ubyte * _LONGEST)()
        messages = []
        for byte in data:
            if self._library.snd_midi_event_encode_byte(self._encoder, byte, event) == 1:
                size = self._library.snd_midi_event_decode(self._decoder, buffer, c_long(_LONGEST), event)
                if size > 0:
                    messages.append(bytes(buffer[:size]))
        return messages

    def close(self) -> None:
        """Free the library's memory."""
        for codec in (self._encoder, self._decoder):
            self._library.snd_midi_event_free(codec)

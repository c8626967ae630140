"""Requests that send to the gear itself: test notes, inquiries, dumps."""

from typing import Annotated, Final

from pydantic import Field

from engine.protocol.fields import MOST_BYTES, MOST_SECONDS, Listed, Name, Number, Request, Seconds

_SECONDS: Final = f"a number of seconds from 0 to {MOST_SECONDS:.0f}"
_HARD: Final = "a velocity from 1 to 127"
_MESSAGE: Final = "one whole SysEx in hexadecimal, from F0 to F7"

_Velocity = Annotated[int, Field(ge=1, le=127)]


class PlayTestNoteRequest(Request):
    """A test note to an instrument; on drums it is a drum."""

    instrument: Name = Field(description="the name of an instrument")
    velocity: _Velocity = Field(64, description=_HARD)


class AuditionRequest(Request):
    """A short phrase with one sound of an instrument."""

    instrument: Name = Field(description="the name of an instrument")
    sound: Name = Field(description="the name of a sound of the instrument")
    velocity: _Velocity = Field(48, description=_HARD)  # softer than the 64 of a keyboard without dynamics


class _TrialRequest(Request):
    """Base of trying something out that is in a list of the rig."""

    place: Number = Field(description="its place in the rig; the first is 0")


class TryControlRequest(_TrialRequest):
    """Do what a control does, as if it had been pressed."""


class TryTallyRequest(_TrialRequest):
    """Turn a light on for a second."""


class TryDisplayRequest(_TrialRequest):
    """Show a text on a display for a second."""


class IdentifyRequest(Request):
    """Ask every device at these outputs who it is; without outputs, at all of them."""

    outputs: Listed = Field([], description="a list of names of outputs")
    seconds: Seconds = Field(0.5, description=_SECONDS)


class ReceiveDumpRequest(Request):
    """Receive a dump, asking for it first or not."""

    input: Name = Field(description="the name of an input")
    instrument: Name | None = Field(None, description="the name of an instrument whose request the rig gives")
    request: str | None = Field(None, max_length=MOST_BYTES, description=_MESSAGE)
    output: Name | None = Field(None, description="the name of the output that the request is sent to")
    silence: Seconds = Field(2.0, description=_SECONDS)
    wait: Seconds = Field(60.0, description=_SECONDS)


class DumpReceiveRequest(Request):
    """Receive a dump of up to 128 kB within 25 seconds, asking an instrument for it first or not."""

    input: Name = Field(description="the name of an input")
    instrument: Name | None = Field(None, description="the name of an instrument whose request the rig gives")


class DumpSendRequest(Request):
    """Send a dump, as much of it as goes out within 25 seconds."""

    output: Name = Field(description="the name of an output")
    messages: list[str] = Field(
        min_length=1, max_length=2000, description=f"a list of up to 2,000 messages, each {_MESSAGE}"
    )


class SendDumpRequest(Request):
    """Send a dump."""

    output: Name = Field(description="the name of an output")
    messages: list[str] = Field(min_length=1, description=f"a list of messages, each {_MESSAGE}")
    first: int = Field(1, alias="from", ge=1, description="the number of the first message to send, counted from 1")
    chunk: int | None = Field(None, ge=1, le=MOST_BYTES, description="a number of bytes above 0")
    gap: Seconds = Field(0.0, description=_SECONDS)
    handshake: bool = Field(False, description="true to wait for the instrument's answers, else false")
    answers: Name | None = Field(None, description="the name of the input where the instrument answers")

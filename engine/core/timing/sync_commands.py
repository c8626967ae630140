"""Carries out commands to the rig's own clock and time code, and says what became of them."""

from engine.answer_codes import AnswerCode
from engine.core.commands import ControlClock, ControlTimecode
from engine.core.timing.clock import FASTEST, LAST_POSITION, SLOWEST, ClockGenerator
from engine.core.timing.clock_outputs import Sent
from engine.core.timing.sync import ClockAndTimecode
from engine.midi.timecode import read_label
from engine.rig.read.raw_data import no_such

SyncResult = tuple[AnswerCode, str, Sent]  # what became of it, a sentence, what is to be sent


def control(sync: ClockAndTimecode, now: int, command: ControlClock | ControlTimecode) -> SyncResult:
    """Carry out a command to the clock or the time code."""
    if isinstance(command, ControlClock):
        return _clock(sync, now, command.what, command.value)
    return _timecode(sync, now, command.what, command.value)


def _clock(sync: ClockAndTimecode, now: int, what: str, value: float | str | None) -> SyncResult:
    clock = sync.clock
    if clock is None:
        return (
            AnswerCode.NOT_IN_RIG,
            'this rig has no clock of its own; add [sync.clock] with from = "internal"',
            [],
        )
    if what == "tempo" and value is not None:
        if not isinstance(value, int | float) or not SLOWEST <= value <= FASTEST:
            return (
                AnswerCode.BAD_REQUEST,
                f"a tempo is {SLOWEST:.0f} to {FASTEST:.0f} beats per minute; nothing changed",
                [],
            )
        clock.set_bpm(now, float(value))
        return AnswerCode.DONE, clock_in_words(clock), []
    if what == "locate" and value is None:
        return AnswerCode.BAD_REQUEST, "locate needs a song position in sixteenths, such as locate 64", []
    if what not in ("start", "continue", "stop", "locate"):
        known = ("start", "continue", "stop", "tap", "locate")
        return AnswerCode.BAD_REQUEST, f"{no_such('clock command', what, known)}, or a tempo such as 120", []
    if (leader := sync.follows(now)) is not None:
        return (
            AnswerCode.NOT_POSSIBLE,
            f'the clock follows "{leader}", which has priority over the internal clock; nothing changed',
            [],
        )
    if what == "locate" and value is not None:
        return _locate_clock(sync, now, clock, value)
    if clock.running == (what != "stop"):
        return (
            AnswerCode.UNCHANGED,
            f"the clock is already {'running' if clock.running else 'stopped'}; nothing changed",
            [],
        )
    sent = sync.command_clock(now, what)
    return AnswerCode.DONE, clock_in_words(clock), sent


def _locate_clock(sync: ClockAndTimecode, now: int, clock: ClockGenerator, value: float | str) -> SyncResult:
    if not isinstance(value, int | float) or not float(value).is_integer() or not 0 <= value <= LAST_POSITION:
        text = f"a song position is 0 to {LAST_POSITION}, in sixteenths from the beginning; nothing changed"
        return AnswerCode.BAD_REQUEST, text, []
    if clock.running:
        text = "the clock is running; stop it before you locate; nothing changed"
        return AnswerCode.NOT_POSSIBLE, text, []
    return AnswerCode.DONE, f"clock at song position {int(value)}", sync.locate_clock(now, int(value))


def clock_in_words(clock: ClockGenerator) -> str:
    """Whether it runs, and its tempo."""
    return f"clock {'running' if clock.running else 'stopped'}, {round(clock.bpm, 1):g} bpm"


def _timecode(sync: ClockAndTimecode, now: int, what: str, value: float | str | None) -> SyncResult:
    code = sync.code
    if code is None:
        return (
            AnswerCode.NOT_IN_RIG,
            'this rig has no time code of its own; add [sync.timecode] with from = "internal"',
            [],
        )
    if what == "locate" and value is not None:
        try:
            place = read_label(str(value), code.rate)
        except ValueError as fault:
            return AnswerCode.BAD_REQUEST, f'found "{value}"; allowed at {code.rate.name} frames: {fault}', []
        return AnswerCode.DONE, f"time code at {place}", sync.locate_code(now, place)
    if what not in ("start", "stop"):
        known = ("start", "stop")
        return AnswerCode.BAD_REQUEST, f"{no_such('time code command', what, known)}, or a time such as 01:00:00:00", []
    if code.running == (what == "start"):
        return (
            AnswerCode.UNCHANGED,
            f"the time code is already {'running' if code.running else 'stopped'}; nothing changed",
            [],
        )
    if what == "start":
        return AnswerCode.DONE, f"time code running from {code.label(now)}", sync.start_code(now)
    code.stop(now)
    return AnswerCode.DONE, f"time code stopped at {code.label(now)}", []

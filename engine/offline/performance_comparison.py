"""The differences between two performances: of a rig and its edit, or of now and an earlier run.

They are compared message by message, but for parameters, each of which is set by several messages together.
"""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from difflib import SequenceMatcher
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.midi.message_words import MiddleC, describe, to_hex
from engine.midi.midi_file import METER, TEMPO, MidiFileError, MidiFileEvent, read_smf
from engine.offline.output_folder import REPORT
from engine.offline.parameter_units import SentMessage, as_units
from engine.offline.song_time import SongTime

_NEAR: Final = 100_000  # ns: closer than files can distinguish at every tempo
_FAR: Final = 1_000_000_000  # ns: messages farther apart are different ones, not one that moved
_MANY: Final = 20_000  # differences that are listed at most
#: Above this number of unmatched messages they are paired by kind and time alone, because the search takes quadratic
#: time
_TO_SEARCH: Final = 4000
_MOMENT: Final = 1000  # messages that are compared together at most


class PerformanceDifference(NamedTuple):
    """A message that only one of two performances has ("missing" or "new"), or at another time ("moved").

    `at` in ns from the start; `moved` in ns; `sets`: of messages that set a parameter together, what they set.
    """

    output: str
    what: str
    at: int
    message: bytes
    moved: int = 0
    sets: str = ""

    def plain(self, meter: SongTime, middle_c: MiddleC = "C4") -> dict[str, Any]:
        """For JSON."""
        found = {
            "output": self.output,
            "what": self.what,
            "at": round(self.at / 1e9, 6),
            "place": meter.words(self.at),
            "message": to_hex(self.message),
            "words": self.sets or describe(self.message, middle_c),
        }
        return {**found, "moved_ms": round(self.moved / 1e6, 3)} if self.what == "moved" else found

    def words(self, meter: SongTime, middle_c: MiddleC = "C4") -> str:
        """ "strings at 0:07.250, bar 4:3: missing: channel 5 note on C4 velocity 100 (94 3C 64)" """
        if self.what == "moved":
            how = f"{abs(self.moved) / 1e6:.1f} ms {'later' if self.moved > 0 else 'earlier'}"
        else:
            how = self.what
        said = self.sets or describe(self.message, middle_c)
        return f"{self.output} at {meter.words(self.at)}: {how}: {said} ({to_hex(self.message)})"


def differences(
    before: Mapping[str, Sequence[SentMessage]], after: Mapping[str, Sequence[SentMessage]], least: int = _NEAR
) -> list[PerformanceDifference]:
    """All differences, in order of time. A message that moves by less than `least` ns counts as the same."""
    found: list[PerformanceDifference] = []
    for output in dict.fromkeys((*before, *after)):
        sides = before.get(output, ()), after.get(output, ())
        # where parameters are set to the same values by other messages, those say what differs
        units = [*_of_output(output, as_units(sides[0]), as_units(sides[1]), least)]
        found += units or _of_output(output, *sides, least)
    return sorted(found, key=lambda each: each.at)


def _of_output(
    output: str, before: Sequence[SentMessage], after: Sequence[SentMessage], least: int
) -> Iterable[PerformanceDifference]:
    """The differences on one output: equal messages are paired, simultaneous ones first; the rest is missing or new."""
    for old, new in _pairs(before, after):
        if old is None and new is not None:
            yield PerformanceDifference(output, "new", new.at, new.message, sets=new.words)
        elif new is None and old is not None:
            yield PerformanceDifference(output, "missing", old.at, old.message, sets=old.words)
        elif old is not None and new is not None and abs(new.at - old.at) >= least:
            yield PerformanceDifference(output, "moved", old.at, old.message, new.at - old.at, old.words)


def _pairs(
    before: Sequence[SentMessage], after: Sequence[SentMessage]
) -> Iterable[tuple[SentMessage | None, SentMessage | None]]:
    """Equal messages at one time are pairs; for the rest, the nearest equal message is searched.

    Otherwise a note that an edit turned into another one would be taken for the next equal note, and that for moved.
    """
    old, new = [*before], [*after]
    for here, there in [*_at_one_time(before, after)][::-1]:
        yield old.pop(here), new.pop(there)
    for then, now in _searched(old, new):
        if then is None or now is None or _NEAR <= abs(now.at - then.at) <= _FAR:
            yield then, now
        else:  # in another order at one time, or different messages
            yield then, None
            yield None, now


def _at_one_time(before: Sequence[SentMessage], after: Sequence[SentMessage]) -> Iterable[tuple[int, int]]:
    """The places of equal messages at nearly the same time, in the order of both sides."""
    for i, j, k, end in _moments(before, after):
        here, there = [each.message for each in before[i:j]], [each.message for each in after[k:end]]
        if here == there:
            yield from zip(range(i, j), range(k, end), strict=True)
            continue
        for a, b, size in SequenceMatcher(None, here, there, autojunk=False).get_matching_blocks():
            yield from ((i + a + n, k + b + n) for n in range(size))


def _moments(before: Sequence[SentMessage], after: Sequence[SentMessage]) -> Iterable[tuple[int, int, int, int]]:
    """Both sides cut into moments between pauses: first and last place in the one, first and last in the other."""
    j = end = 0
    while j < len(before) and end < len(after):
        i, k, last = j, end, min(before[j].at, after[end].at)
        while j - i + end - k < _MOMENT:
            if j < len(before) and before[j].at < last + _NEAR:
                last, j = max(last, before[j].at), j + 1
            elif end < len(after) and after[end].at < last + _NEAR:
                last, end = max(last, after[end].at), end + 1
            else:
                break
        yield i, j, k, end


def _searched(
    before: Sequence[SentMessage], after: Sequence[SentMessage]
) -> Iterable[tuple[SentMessage | None, SentMessage | None]]:
    if len(before) + len(after) > _TO_SEARCH:
        yield from _pairs_by_kind(before, after)
        return
    matcher = SequenceMatcher(None, [each.message for each in before], [each.message for each in after], autojunk=False)
    for what, i, j, k, end in matcher.get_opcodes():
        if what == "equal":
            yield from zip(before[i:j], after[k:end], strict=True)
        else:
            yield from ((old, None) for old in before[i:j])
            yield from ((None, new) for new in after[k:end])


def _pairs_by_kind(
    before: Sequence[SentMessage], after: Sequence[SentMessage]
) -> Iterable[tuple[SentMessage | None, SentMessage | None]]:
    """Each message with the nearest equal one that is not far away, in order of time on both sides."""
    waiting: dict[bytes, list[SentMessage]] = {}
    for each in reversed(after):
        waiting.setdefault(each.message, []).append(each)
    for old in before:
        like = waiting.get(old.message, [])
        while like and like[-1].at < old.at - _FAR:
            yield None, like.pop()
        near = like and like[-1].at <= old.at + _FAR
        yield old, like.pop() if near else None
    for left in waiting.values():
        yield from ((None, new) for new in left)


def summary(found: Sequence[PerformanceDifference]) -> list[str]:
    """The number of differences on each output, in words."""
    counts = Counter((each.output, each.what) for each in found)
    lines = []
    for output in dict.fromkeys(each.output for each in found):
        parts = [f"{counts[output, what]:,} {what}" for what in ("missing", "new", "moved") if counts[output, what]]
        lines.append(f"{output}: {', '.join(parts)}")
    return lines


def as_json(found: Sequence[PerformanceDifference], meter: SongTime, middle_c: MiddleC) -> dict[str, Any]:
    """All differences, up to a limit."""
    return {
        "count": len(found),
        "summary": summary(found),
        "differences": [each.plain(meter, middle_c) for each in found[:_MANY]],
    }


# An earlier run


class EarlierRunError(Exception):
    """There is nothing to compare with; the text says why."""


def earlier_run(folder: Path, now: Mapping[str, str]) -> dict[str, list[SentMessage] | None]:
    """The messages in the outputs' files in a folder, by output; None if a file is missing. Raises EarlierRunError.

    `now`: output -> file name of this run; outputs that only the earlier run had are found by its report.
    """
    if not folder.is_dir():
        raise EarlierRunError(f"{folder} is not a folder; give one that a rehearsal wrote")
    files = {**_files_then(folder), **now}
    left = {file.name for file in folder.glob("*.mid")} - set(files.values())
    files |= {name.removesuffix(".mid"): name for name in left}
    if not any((folder / name).is_file() for name in files.values()):
        raise EarlierRunError(f"{folder} holds no files of a rehearsal; give a folder that a rehearsal wrote")
    return {output: _read(folder / name) for output, name in files.items()}


def _files_then(folder: Path) -> dict[str, str]:
    try:
        outputs = json.loads((folder / REPORT).read_text(encoding="utf-8"))["outputs"]
        return {str(output): Path(str(found["file"])).name for output, found in outputs.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def _read(file: Path) -> list[SentMessage] | None:
    if not file.is_file():
        return None
    try:
        return said_in(file.read_bytes())
    except MidiFileError as fault:
        raise EarlierRunError(f"{file}: {fault}") from None


def said_in(data: bytes) -> list[SentMessage]:
    """The messages of a Standard MIDI File. Raises MidiFileError."""
    file = read_smf(data)
    events: list[MidiFileEvent] = sorted(
        (e for track in file.tracks for e in track.events), key=lambda event: event.tick
    )
    meter = SongTime(file.division, [event for event in events if event.meta in (TEMPO, METER)])
    return [SentMessage(meter.time(event.tick), event.message) for event in events if event.meta < 0]

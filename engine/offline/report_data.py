"""The content of report.json: a performance as plain numbers and words.

Times are in seconds from the start of the song ("at"), with their place in words; waits and costs in milliseconds.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any, Final

from engine.core.cable.program_burst import size
from engine.core.cable.queues import SHORT_SYSEX
from engine.core.cable.speed import DIN, DIN_RUNNING, CableSpeed, status_after
from engine.midi.kinds import is_press
from engine.midi.message_words import describe, note_name
from engine.offline.heard_notes import HeardNote, choices, notes
from engine.offline.rehearsal import Performance, SceneChange
from engine.offline.report_findings import findings
from engine.offline.song_time import SongTime
from engine.offline.timed_cable import InstrumentReady, SentByCable
from engine.rig.gear_words import sound_of
from engine.rig.models.rig import Rig

FORMAT: Final = "bayleaf rehearsal 1"
_S: Final = 1_000_000_000
_LIMIT: Final = _S // DIN.byte_ns  # bytes per second
_BINS: Final = 240  # in the picture of the load, at most
_WORST: Final = 5  # waits that are listed
_LATE: Final = 10_000_000  # ns: a note that waits longer is audibly late (common practice, no source)
_VERY_LATE: Final = 100_000_000  # ns: the same for other messages (common practice, no source)
#: a wait no longer than one other message takes does not count (three bytes on a DIN cable)
NOT_A_WAIT: Final = 3 * DIN.byte_ns


def account(done: Performance, song: str, recording: dict[str, Any] | None = None) -> dict[str, Any]:
    """The whole report. `recording`: if the song is a flight recording, how far the output is the same as recorded."""
    late = _late(done)
    ready = {name: _by_asked(done.ready[name]) for name in done.ready}
    changes = [_change(done, change, late, ready) for change in done.changes]
    report: dict[str, Any] = {
        "format": FORMAT,
        "rig": done.rig.rig.name,
        "song": song,
        "seconds": round(done.ends / _S, 3),
        "messages_in": sum(done.received.values()),
        "messages_out": sum(map(len, done.sent.values())),
        "notes_left_sounding": len(done.hanging),
        "left_sounding": _keys(done.hanging, done.rig),
        "held_by_the_song_at_its_end": _keys(done.held, done.rig),
        "off_rest_at_the_end": done.moved,
        "scene_changes": changes,
        "inputs": {name: {"messages": count} for name, count in done.received.items()},
        "outputs": {name: _output(done, name, changes, late[name]) for name in done.sent},
        "instruments": _instruments(done),
        "passed_over": done.passed_over,
        "remarks": done.remarks,
        "refused": [{**_when(done.meter, at), "text": text} for at, text in done.refused],
        "told": [{**_when(done.meter, at), "text": text} for at, text in done.notices],
    }
    if recording is not None:
        report["recording"] = recording
    report["findings"] = findings(report, done.rig)
    return report


def _when(meter: SongTime, at: int) -> dict[str, Any]:
    return {"at": round(at / _S, 6), "place": meter.words(at)}


def _ms(ns: int) -> float:
    return round(ns / 1e6, 3)


def _keys(listed: Sequence[tuple[str, int, int]], rig: Rig) -> list[dict[str, Any]]:
    middle_c = rig.rig.middle_c
    return [{"output": name, "channel": channel + 1, "note": note_name(key, middle_c)} for name, channel, key in listed]


# Scene changes

#: by output, the messages that players sent and that had to wait, in the order of `asked`
_Late = dict[str, list[SentByCable]]
#: by output, time at which a burst was requested -> times at which its instruments were ready
_Ready = dict[str, dict[int, list[int]]]


def _late(done: Performance) -> _Late:
    return {
        name: sorted((each for each in sent if not each.ours and each.wait > NOT_A_WAIT), key=_asked)
        for name, sent in done.sent.items()
    }


def _asked(sent: SentByCable) -> int:
    return sent.asked


def _by_asked(ready: Sequence[InstrumentReady]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for each in ready:
        found.setdefault(each.asked, []).append(each.at)
    return found


def _change(done: Performance, change: SceneChange, late: _Late, ready: _Ready) -> dict[str, Any]:
    outcome = change.outcome
    assert outcome.scene is not None, "only a recall that was done counts as a change"
    outputs = _costs(done, change, late, ready)
    return {
        **_when(done.meter, change.at),
        "number": outcome.scene[0],
        "name": outcome.scene[1],
        "by": outcome.source,
        "burst_bytes": sum(cost["burst_bytes"] for cost in outputs.values()),
        "ready_ms": max((cost["ready_ms"] for cost in outputs.values()), default=0.0),
        "already_on_their_sounds": outcome.unchanged,
        "notes_carried_over": outcome.held,
        "messages_that_waited": sum(cost["messages_that_waited"] for cost in outputs.values()),
        "notes_that_waited": sum(cost["notes_that_waited"] for cost in outputs.values()),
        "worst_wait_ms": max((cost["worst_wait_ms"] for cost in outputs.values()), default=0.0),
        "outputs": outputs,
    }


def _costs(done: Performance, change: SceneChange, late: _Late, ready: _Ready) -> dict[str, dict[str, Any]]:
    """The cost of a scene change on each output that gets anything of its burst."""
    names = list(done.sent)
    found = {}
    for index, (_, steps) in change.outcome.bursts.items():
        name = names[index]
        if name not in done.rig.outputs:  # an edit has removed it since
            continue
        settled = ready[name].get(change.at, [])
        until = max(settled, default=change.at)
        first = bisect_left(late[name], change.at, key=_asked)
        waited = late[name][first : bisect_left(late[name], until, first, key=_asked)]
        notes_late = [each for each in waited if is_press(each.message)]
        found[name] = {
            "steps": len(steps),
            "burst_bytes": size(steps, speed_of(done.rig, name)),
            "ready_ms": _ms(until - change.at),
            "steps_replaced_by_the_next_scene": len(steps) - len(settled),
            "messages_that_waited": len(waited),
            "notes_that_waited": len(notes_late),
            "worst_wait_ms": _ms(max((each.wait for each in waited), default=0)),
            "worst_note_wait_ms": _ms(max((each.wait for each in notes_late), default=0)),
        }
    return found


def speed_of(rig: Rig, output: str) -> CableSpeed | None:
    """The speed of an output's cable; None for a fast output."""
    port = rig.outputs.get(output)
    if port is None or port.wire != "din":
        return None
    return DIN_RUNNING if port.running_status else DIN


# Outputs


def _output(
    done: Performance, name: str, changes: Sequence[dict[str, Any]], late: Sequence[SentByCable]
) -> dict[str, Any]:
    sent, speed = done.sent[name], speed_of(done.rig, name)
    played = [each for each in sent if not each.ours]
    by_wait = sorted(late, key=lambda each: -each.wait)
    bursts = [
        (change["at"], change["at"] + change["outputs"][name]["ready_ms"] / 1000)
        for change in changes
        if name in change["outputs"]
    ]
    late_ones = sorted((each for each in by_wait if _is_late(each)), key=lambda each: not is_press(each.message))
    others = (each for each in late_ones if not any(begins <= each.asked / _S <= ends for begins, ends in bursts))
    other = next(others, None)
    played_notes = notes((each.start, each.message) for each in sent)
    return {
        "wire": "fast" if speed is None else "din",
        "messages": len(sent),
        "notes": len(played_notes),
        "channels": _channels(done.rig, name, played_notes),
        "load": _load(sent, speed, done.meter, done.ends),
        "worst_wait_ms": _ms(max((each.wait for each in played), default=0)),
        "worst_waits": [_wait(done, each, sent, speed) for each in by_wait[:_WORST]],
        "late_beside_bursts": other and _wait(done, other, sent, speed),
        "replaced": done.replaced[name],
        "shed": done.shed[name],
    }


def _wait(
    done: Performance, late: SentByCable, sent: Sequence[SentByCable], speed: CableSpeed | None
) -> dict[str, Any]:
    """One wait; "ahead" is the number of messages that went onto the cable meanwhile."""
    ahead = bisect_left(sent, late.start, key=_start) - bisect_left(sent, late.asked, key=_start)
    found = {
        **_when(done.meter, late.asked),
        "ms": _ms(late.wait),
        "message": describe(late.message, done.rig.rig.middle_c),
        "ahead": ahead,
    }
    behind = _behind(late, sent, speed)
    return {**found, "behind_sysex_bytes": len(behind.message)} if behind else found


def _is_late(sent: SentByCable) -> bool:
    return sent.wait > (_LATE if is_press(sent.message) else _VERY_LATE)


def _start(sent: SentByCable) -> int:
    return sent.start


def _behind(late: SentByCable, sent: Sequence[SentByCable], speed: CableSpeed | None) -> SentByCable | None:
    """The long SysEx that was on the cable while this message waited."""
    if speed is None:
        return None
    long = (each for each in sent if len(each.message) > SHORT_SYSEX)
    return next(
        (each for each in long if each.start <= late.start and late.asked < each.start + speed.cost(each.message)), None
    )


def _channels(rig: Rig, output: str, notes: Iterable[HeardNote]) -> list[dict[str, Any]]:
    named = {
        channel - 1: name
        for name, gear in rig.instruments.items()
        if gear.output == output
        for channel in gear.channels
    }
    keys: dict[int, list[int]] = {}
    for note in notes:
        keys.setdefault(note.channel, []).append(note.key)
    return [
        {
            "channel": channel + 1,
            "instrument": named.get(channel),
            "notes": len(played),
            "compass": " to ".join(note_name(key, rig.rig.middle_c) for key in (min(played), max(played))),
        }
        for channel, played in sorted(keys.items())
    ]


def _load(sent: Sequence[SentByCable], speed: CableSpeed | None, meter: SongTime, ends: int) -> dict[str, Any]:
    """Bytes on the cable over time, and in the busiest second."""
    width = max(ends // _BINS + 1, _S // 10)
    byte_ns = speed.byte_ns if speed else 0
    stretches = [0] * (max([ends, *(each.start + len(each.message) * byte_ns for each in sent)]) // width + 1)
    placed, status = [], 0
    for each in sent:
        count = speed.cost(each.message, status) // byte_ns if speed else len(each.message)
        status = status_after(each.message, status)
        placed.append((each.start, count))
        for at, part in _spread(each.start, count, byte_ns, width):
            stretches[at] += part
    begins, most = _busiest(placed)
    return {
        "bytes": sum(count for _, count in placed),
        "limit_bytes_per_second": _LIMIT if speed else None,
        "stretch_seconds": round(width / _S, 6),
        "bytes_per_stretch": stretches,
        "busiest_second": {
            **_when(meter, begins),
            "bytes": min(most, _LIMIT) if speed else most,
            "share": round(min(most / _LIMIT, 1.0), 4) if speed else None,
        },
    }


def _spread(start: int, count: int, byte_ns: int, width: int) -> list[tuple[int, int]]:
    """The stretches of time that the bytes of one message fall into."""
    first, last = start // width, (start + count * byte_ns) // width
    if first == last:
        return [(first, count)]
    gone = [(width * each - start) // byte_ns for each in range(first + 1, last + 1)]  # bytes, at each edge
    return [(first + n, after - before) for n, (before, after) in enumerate(pairwise((0, *gone, count)))]


def _busiest(placed: Sequence[tuple[int, int]]) -> tuple[int, int]:
    """The beginning of the second with the most bytes, and their number."""
    best, begins, total, oldest = 0, 0, 0, 0
    for at, count in placed:
        total += count
        while placed[oldest][0] <= at - _S:
            total -= placed[oldest][1]
            oldest += 1
        if total > best:
            best, begins = total, placed[oldest][0]
    return begins, best


# Instruments


def _instruments(done: Performance) -> dict[str, Any]:
    """The programs that each instrument had."""
    listed = {name: choices((each.start, each.message) for each in sent) for name, sent in done.sent.items()}
    found: dict[str, Any] = {}
    for name, gear in done.rig.instruments.items():
        programs = [
            {
                **_when(done.meter, choice.at),
                "bank": list(choice.bank),
                "program": choice.program + gear.programs_from,
                "sound": sound_of(gear, (choice.bank[0] or 0, choice.bank[1] or 0), choice.program),
            }
            for choice in listed[gear.output]
            if choice.channel + 1 in gear.channels
        ]
        found[name] = {"output": gear.output, "channel": gear.channel, "programs": programs}
    return found

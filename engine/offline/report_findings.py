"""The findings of a rehearsal, in words, each with a remedy."""

from collections import Counter
from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from engine.plurals import plural
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig

_FELT: Final = 5.0  # ms that a burst may delay a note unnoticed (common practice, no source)
_AT_ONCE: Final = 10.0  # ms that a burst may take unnoticed
_LEAST: Final = 0.5  # ms that are worth a word
_NAMED: Final = 8  # keys or outputs that a sentence lists
_BYTE: Final = 0.32  # ms on a DIN cable (MIDI 1.0 p. 1)
_WORDS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def findings(report: dict[str, Any], rig: Rig) -> list[str]:
    """One sentence for each thing to fix; empty if there is nothing."""
    return [
        *_hanging(report),
        *report["passed_over"],
        *_refused(report),
        *_shed(report),
        *_slow_changes(report, rig),
        *_full_cables(report),
        *_rest(report, rig),
    ]


def _many(count: int, noun: str) -> str:
    """Small numbers as words: "three notes"."""
    return f"{_WORDS[count] if count < len(_WORDS) else f'{count:,}'} {plural(count, noun)}"


def _hanging(report: dict[str, Any]) -> Iterator[str]:
    if left := report["left_sounding"]:
        yield f"{_many(len(left), 'note')} left sounding ({_keys(left)}): this is a fault of Bayleaf; please report it"
    if held := report["held_by_the_song_at_its_end"]:
        if "recording" in report:
            yield f"the recording ends while {_keys(held)} {'sounds' if len(held) == 1 else 'sound'}"
        else:
            yield f"the song itself never releases {_keys(held)}; the end of the show released it"


def _keys(listed: list[dict[str, Any]]) -> str:
    """By output and channel: "C4, E4 on strings channel 5, C2 on bass channel 2"."""
    places: dict[str, list[str]] = {}
    for each in listed[:_NAMED]:
        places.setdefault(f"{each['output']} channel {each['channel']}", []).append(each["note"])
    named = ", ".join(f"{', '.join(keys)} on {place}" for place, keys in places.items())
    return f"{named} and {len(listed) - _NAMED:,} more" if len(listed) > _NAMED else named


def _refused(report: dict[str, Any]) -> Iterator[str]:
    """Each once, at its first place."""
    times = Counter(each["text"] for each in report["refused"])
    first = {each["text"]: each["place"] for each in reversed(report["refused"])}
    for text, count in times.items():
        often = f", the first of {_many(count, 'time')}" if count > 1 else ""
        yield f"{first[text]}{often}: {text}"


def _shed(report: dict[str, Any]) -> Iterator[str]:
    for name, output in report["outputs"].items():
        if output["shed"]:
            count = output["shed"]
            lost = f"{_many(count, 'message')} {'was' if count == 1 else 'were'} left out"
            yield f"{name}: {lost} because the cable was full; thin or strip what goes there"


def _slow_changes(report: dict[str, Any], rig: Rig) -> Iterator[str]:
    """Each scene once, at its worst, however often it is recalled and however many outputs are slow."""
    slow: dict[tuple[int, bool], list[_Slow]] = {}
    for number, change in enumerate(report["scene_changes"]):
        for name, cost in change["outputs"].items():
            if cost["notes_that_waited"] and cost["worst_note_wait_ms"] >= _FELT:
                slow.setdefault((change["number"], number == 0), []).append(_Slow(change, name, cost))
    for (_, first), found in slow.items():
        change, name, cost = max(found, key=lambda each: each.cost["worst_note_wait_ms"])
        count = len({each.change["at"] for each in found})
        often = f", the worst of {_many(count, 'time')}" if count > 1 else ""
        yield (
            f"{change['name']} ({change['place']}{often}): {name} is ready {cost['ready_ms']:.0f} ms after the change"
            f"{_parts(change['number'], name, cost, rig)}; "
            f"{_many(cost['notes_that_waited'], 'note')} {'waits' if cost['notes_that_waited'] == 1 else 'wait'} "
            f"up to {cost['worst_note_wait_ms']:.0f} ms; {_remedy(cost, first)}{_elsewhere(found, name)}"
        )


def _parts(number: int, output: str, cost: dict[str, Any], rig: Rig) -> str:
    """ " (3 ms on the cable, 30 ms settling)"; a part of less than half a millisecond is left out."""
    on_cable = cost["burst_bytes"] * _BYTE if rig.outputs[output].wire == "din" else 0.0
    scene = rig.scene(number)
    burst = Lowering(rig).lowered(scene).burst if scene else ()
    instruments = [rig.instruments[step.instrument] for step in burst if step.instrument]
    settling = max((each.settle / 1e6 for each in instruments if each.output == output), default=0.0)
    parts = ((on_cable, "on the cable"), (settling, "settling"))
    listed = ", ".join(f"{ms:.0f} ms {what}" for ms, what in parts if ms >= _LEAST)
    return f" ({listed})" if listed else ""


class _Slow(NamedTuple):
    """A scene change that made notes wait on this output, and what it cost there."""

    change: dict[str, Any]
    output: str
    cost: dict[str, Any]


def _elsewhere(found: list[_Slow], named: str) -> str:
    """ "; notes also wait on drums (9 ms), bass (7 ms)" """
    worst: dict[str, float] = {}
    for each in found:
        if each.output != named:
            worst[each.output] = max(each.cost["worst_note_wait_ms"], worst.get(each.output, 0.0))
    if not worst:
        return ""
    listed = ", ".join(f"{name} ({worst[name]:.0f} ms)" for name in [*worst][:_NAMED])
    more = f" and {_many(len(worst) - _NAMED, 'more output')}" if len(worst) > _NAMED else ""
    return f"; notes also wait on {listed}{more}"


def _remedy(cost: dict[str, Any], first: bool) -> str:
    earlier = "leave a beat before the first note" if first else "recall it a beat earlier"
    if cost["steps"] < 2 or cost["ready_ms"] <= _AT_ONCE or cost["burst_bytes"] * _BYTE < _AT_ONCE / 2:
        return earlier
    each = cost["burst_bytes"] * _BYTE / cost["steps"]
    spare = min(max(cost["steps"] - int(_AT_ONCE / each), 1), cost["steps"] - 1)
    return f"{earlier} or move {_many(spare, 'step')} to another output"


def _full_cables(report: dict[str, Any]) -> Iterator[str]:
    for name, output in report["outputs"].items():
        worst = output["late_beside_bursts"]
        if worst and output["load"]["limit_bytes_per_second"]:
            ahead = "one message is" if worst["ahead"] == 1 else f"{_many(worst['ahead'], 'message')} are"
            why = f"{ahead} ahead of it on the cable"
            remedy = "thin or strip something that goes there, or move a part to another output"
            if "behind_sysex_bytes" in worst:
                why = f"a SysEx of {worst['behind_sysex_bytes']:,} bytes is on the cable"
                remedy = "send it while nothing plays"
            yield f"{name}: at {worst['place']} {worst['message']} waits {worst['ms']:.0f} ms because {why}; {remedy}"


def _rest(report: dict[str, Any], rig: Rig) -> Iterator[str]:
    reached = {change["number"] for change in report["scene_changes"]}
    for scene in rig.scenes:
        if scene.at is not None and scene.number not in reached:
            yield f"{scene.name} is due at {scene.at}, which the time code never reached"
    for name, gear in report["instruments"].items():
        played = report["outputs"][gear["output"]]["channels"]
        notes = sum(each["notes"] for each in played if each["channel"] == gear["channel"])
        if notes and not gear["programs"]:
            yield f"{name} plays {_many(notes, 'note')} but no sound was ever selected for it; add a burst step"

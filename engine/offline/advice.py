"""What a rehearsal found, in words, with what to do about it."""

from collections.abc import Iterator
from typing import Any, Final

from engine.rig.models import Rig

_FELT: Final = 5.0  # ms: what a burst may make a note wait without anybody minding (common practice, no source)
_LATE: Final = 10.0  # ms: a note that is later than this is heard to be late (common practice, no source)
_AT_ONCE: Final = 10.0  # ms that a burst may take without anybody noticing
_BYTE: Final = 0.32  # ms on a DIN cable (MIDI 1.0 p. 1)
_WORDS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def findings(report: dict[str, Any], rig: Rig) -> list[str]:
    """One sentence for each thing to look at; none if there is none."""
    return [*_hanging(report), *_shed(report), *_slow_changes(report, rig), *_full_cables(report), *_rest(report, rig)]


def _many(count: int, what: str) -> str:
    number = _WORDS[count] if count < len(_WORDS) else f"{count:,}"
    return f"{number} {what}{'' if count == 1 else 's'}"


def _hanging(report: dict[str, Any]) -> Iterator[str]:
    if left := report["left_sounding"]:
        named = ", ".join(f"{each['note']} on {each['output']}" for each in left[:5])
        yield f"{_many(len(left), 'note')} left sounding ({named}): that is a fault of Bayleaf; please report it"
    if held := report["held_by_the_song_at_its_end"]:
        named = ", ".join(f"{each['note']} on {each['output']} channel {each['channel']}" for each in held[:5])
        yield f"the song itself never lets go of {named}; the end of the show released it"


def _shed(report: dict[str, Any]) -> Iterator[str]:
    for name, output in report["outputs"].items():
        if output["shed"]:
            lost = _many(output["shed"], "message")
            yield f"{name}: {lost} found no room on the cable; thin or strip what goes there"


def _slow_changes(report: dict[str, Any], rig: Rig) -> Iterator[str]:
    for number, change in enumerate(report["scene_changes"]):
        for name, cost in change["outputs"].items():
            if cost["notes_that_waited"] and cost["worst_wait_ms"] >= _FELT:
                wire = "a DIN cable" if rig.outputs[name].wire == "din" else "a fast output"
                waits = "waits" if cost["notes_that_waited"] == 1 else "wait"
                yield (
                    f"{change['name']} ({change['place']}): "
                    f"the burst on {name} takes {cost['ready_ms']:.0f} ms on {wire}; "
                    f"{_many(cost['notes_that_waited'], 'note')} {waits} up to {cost['worst_wait_ms']:.0f} ms; "
                    f"{_remedy(cost, first=number == 0)}"
                )


def _remedy(cost: dict[str, Any], first: bool) -> str:
    earlier = "leave a beat before the first note" if first else "recall it a beat earlier"
    if cost["steps"] < 2 or cost["ready_ms"] <= _AT_ONCE or cost["burst_bytes"] * _BYTE < _AT_ONCE / 2:
        return earlier
    each = cost["burst_bytes"] * _BYTE / cost["steps"]
    spare = min(max(cost["steps"] - int(_AT_ONCE / each), 1), cost["steps"] - 1)
    return f"{earlier} or move {_many(spare, 'step')} to another output"


def _full_cables(report: dict[str, Any]) -> Iterator[str]:
    changes = report["scene_changes"]
    for name, output in report["outputs"].items():
        late = [each for each in output["worst_waits"] if each["ms"] > _LATE and not _in_a_burst(each, name, changes)]
        if late and output["load"]["limit_bytes_per_second"]:
            worst = late[0]
            why = "the cable is full; thin or strip something that goes there, or move a part to another output"
            if "behind_sysex_bytes" in worst:
                why = f"a SysEx of {worst['behind_sysex_bytes']:,} bytes is on the cable; send it while nothing plays"
            yield f"{name}: at {worst['place']} {worst['message']} waits {worst['ms']:.0f} ms, for {why}"


def _in_a_burst(wait: dict[str, Any], output: str, changes: list[dict[str, Any]]) -> bool:
    return any(
        change["at"] <= wait["at"] <= change["at"] + change["outputs"][output]["ready_ms"] / 1000
        for change in changes
        if output in change["outputs"]
    )


def _rest(report: dict[str, Any], rig: Rig) -> Iterator[str]:
    reached = {change["number"] for change in report["scene_changes"]}
    for scene in rig.scenes:
        if scene.at is not None and scene.number not in reached:
            yield f"{scene.name} waits for {scene.at}, and the time code never got there"
    for name, gear in report["instruments"].items():
        played = report["outputs"][gear["output"]]["channels"]
        notes = sum(each["notes"] for each in played if each["channel"] == gear["channel"])
        if notes and not gear["programs"]:
            yield f"{name} plays {_many(notes, 'note')} and was never put on a sound; give it a step in a burst"

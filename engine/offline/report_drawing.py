"""The pictures of a report, as SVG: the notes on each channel, and the load of the cable."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

from engine.offline.heard_notes import HeardNote
from engine.offline.song_time import clock

WIDTH: Final = 1000  # units; the page stretches the picture to the available width
_S: Final = 1_000_000_000
_LEAST_KEYS: Final = 12  # per lane, so that a single drum does not fill it
_KEY: Final = 2.4  # units of height per key
_LANE_GAP: Final = 6
_LOAD: Final = 56  # units of height
_STEPS: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800)  # seconds between two time marks


@dataclass(frozen=True)
class Scale:
    """The time (ns) that a picture's width covers."""

    ends: int

    def x(self, at: float) -> float:
        """The horizontal place of a time (ns)."""
        return round(WIDTH * max(at, 0) / max(self.ends, 1), 2)


def _svg(height: float, label: str, body: str, kind: str) -> str:
    return (
        f'<svg class="{kind}" viewBox="0 0 {WIDTH} {height:g}" preserveAspectRatio="none" role="img" '
        f'style="height:{height:g}px" aria-label="{escape(label)}">{body}</svg>'
    )


def lane_height(notes: Sequence[HeardNote]) -> float:
    """The height of the picture of a channel's notes, in units."""
    low, high = _range(notes)
    return (high - low + 1) * _KEY + _LANE_GAP


def _range(notes: Sequence[HeardNote]) -> tuple[int, int]:
    low, high = min(note.key for note in notes), max(note.key for note in notes)
    spare = max(_LEAST_KEYS - (high - low + 1), 0)
    return low - spare // 2, high + spare - spare // 2


def roll(notes: Sequence[HeardNote], scale: Scale, changes: Sequence[dict[str, Any]], label: str) -> str:
    """The notes of one channel as bars: pitch upwards, time to the right; `label` is for screen readers."""
    high = _range(notes)[1]
    height = lane_height(notes)
    path = "".join(
        f"M{scale.x(note.begins):g} {(high - note.key + 0.5) * _KEY + _LANE_GAP / 2:g}"
        f"h{max(scale.x(note.ends if note.ends is not None else scale.ends) - scale.x(note.begins), 0.8):g}"
        for note in notes
    )
    body = f'{_change_lines(changes, scale, height)}<path class="notes" d="{path}"/>'
    return _svg(height, label, body, "roll")


def _change_lines(changes: Sequence[dict[str, Any]], scale: Scale, height: float) -> str:
    return "".join(f'<path class="change" d="M{scale.x(each["at"] * _S):g} 0v{height:g}"/>' for each in changes)


def load(output: dict[str, Any], scale: Scale, changes: Sequence[dict[str, Any]], name: str) -> str:
    """The load of the cable over time; the upper edge is its capacity. Triangles mark the worst waits."""
    found = output["load"]
    width = found["stretch_seconds"]
    limit = found["limit_bytes_per_second"] * width
    points = [f"M0 {_LOAD}"]
    for number, count in enumerate(found["bytes_per_stretch"]):
        if number * width * _S > scale.ends:
            break
        y = _LOAD - min(count / limit, 1.0) * (_LOAD - 4)
        end = min((number + 1) * width * _S, scale.ends)
        points.append(f"L{scale.x(number * width * _S):g} {y:.1f}H{scale.x(end):g}")
    points.append(f"V{_LOAD}Z")
    marks = "".join(_mark(wait, scale) for wait in output["worst_waits"])
    busiest = found["busiest_second"]
    text = f"{name}: in the busiest second, from {busiest['place']}, {busiest['share']:.0%} of the cable"
    body = (
        f'{_change_lines(changes, scale, _LOAD)}<path class="load" d="{"".join(points)}"/>'
        f'<path class="limit" d="M0 4H{WIDTH}"/>{marks}'
    )
    return _svg(_LOAD, text, body, "cable")


def _mark(wait: dict[str, Any], scale: Scale) -> str:
    x = min(max(scale.x(wait["at"] * _S), 4), WIDTH - 4)
    title = escape(f"{wait['place']}: {wait['message']} waits {wait['ms']:.1f} ms")
    return f'<path class="wait" d="M{x - 4:g} 6h8l-4 9z"><title>{title}</title></path>'


def scene_band(changes: Sequence[dict[str, Any]], scale: Scale) -> str:
    """The scenes over time, as HTML boxes, so that their names keep their shape at every width."""
    boxes = []
    for number, change in enumerate(changes):
        begins = change["at"] * _S
        ends = changes[number + 1]["at"] * _S if number + 1 < len(changes) else scale.ends
        left, width = scale.x(begins) * 100 / WIDTH, (scale.x(ends) - scale.x(begins)) * 100 / WIDTH
        name = escape(f"{change['number']} {change['name']}")
        boxes.append(
            f'<li style="left:{left:.3f}%;width:{max(width, 0.2):.3f}%" title="{name}, from {escape(change["place"])}">'
            f"<span>{name}</span></li>"
        )
    return f'<ol class="band">{"".join(boxes)}</ol>'


def time_marks(scale: Scale) -> str:
    """The times under a picture."""
    step = next((each for each in _STEPS if scale.ends / _S / each <= 9), _STEPS[-1])
    marks = [
        f'<span style="left:{scale.x(at * _S) * 100 / WIDTH:.3f}%">{clock(at * _S)[:-4]}</span>'
        for at in range(0, int(scale.ends / _S) + 1, step)
        if scale.x(at * _S) < WIDTH * 0.97
    ]
    return f'<div class="times" aria-hidden="true">{"".join(marks)}</div>'

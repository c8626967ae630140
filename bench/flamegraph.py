"""Draws collapsed stacks as a flame graph: an SVG that a page can show as a picture, without a script.

A stack is the names of its frames, the outermost first, and how often it was sampled. The outermost is drawn at the
top, each frame as wide as its share of all samples, and those that it called below it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

Stacks = Mapping[tuple[str, ...], int]

#: whose a frame is, by what its name begins with, and its colour
COLOURS: Final = {
    "core": "#f2b36b",
    "filters": "#e8d06e",
    "live": "#e88f7a",
    "ports": "#c9a0dc",
    "midi": "#d6a99a",
    "trio": "#8fbcdb",
    "Python": "#b9d8b0",
    "JACK": "#a8c8c0",
    "system": "#c4c8cf",
    "bench": "#e3e3dd",
}
_OTHER: Final = "#dddddd"
_WIDTH, _ROW, _EDGE = 1200, 17, 10
_TOP: Final = 66  # of the graph, below title, note and legend
_LETTER: Final = 6.3  # width in pixels of one letter of a label


@dataclass
class Frame:
    """One box of the picture: its name, how many samples were in it, and what it called, by name."""

    name: str
    samples: int = 0
    called: "dict[str, Frame]" = field(default_factory=dict)


def grown(stacks: Stacks) -> Frame:
    """All stacks as a tree; its root is "all"."""
    root = Frame("all")
    for names, samples in stacks.items():
        at = root
        at.samples += samples
        for name in names:
            at = at.called.setdefault(name, Frame(name))
            at.samples += samples
    return root


def share_of(stacks: Stacks, parts: Sequence[tuple[str, frozenset[str]]], rest: str) -> dict[str, float]:
    """How much of all samples belongs to each part, 0 to 1: the first of whose frames one is in the stack."""
    found = dict.fromkeys([*(part for part, _ in parts), rest], 0)
    for names, samples in stacks.items():
        found[next((part for part, frames in parts if frames.intersection(names)), rest)] += samples
    everything = sum(found.values()) or 1
    return {part: samples / everything for part, samples in found.items()}


def drawn(stacks: Stacks, title: str, note: str, least: float = 0.005) -> str:
    """The SVG. Frames whose share is below `least` are left out."""
    root = grown(stacks)
    boxes = list(_boxes(root, 0, _EDGE, (_WIDTH - 2 * _EDGE) / max(1, root.samples), least * root.samples))
    height = _TOP + _ROW * (1 + max(depth for depth, *_ in boxes)) + _EDGE
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" '
        f'font-family="ui-monospace, Menlo, Consolas, monospace" font-size="10.5">',
        f'<rect width="{_WIDTH}" height="{height}" fill="#fff"/>',
        f'<text x="{_EDGE}" y="20" font-size="15" font-weight="bold">{escape(title)}</text>',
        f'<text x="{_EDGE}" y="37">{escape(note)}</text>',
        *_legend(),
    ]
    lines += [_box(depth, left, width, frame, root.samples) for depth, left, width, frame in boxes]
    return "\n".join([*lines, "</svg>", ""])


def _boxes(
    frame: Frame, depth: int, left: float, scale: float, least: float
) -> Iterator[tuple[int, float, float, Frame]]:
    yield depth, left, frame.samples * scale, frame
    for called in sorted(frame.called.values(), key=lambda each: -each.samples):
        if called.samples >= least:
            yield from _boxes(called, depth + 1, left, scale, least)
            left += called.samples * scale


def _legend() -> Iterator[str]:
    for place, (owner, colour) in enumerate(COLOURS.items()):
        left = _EDGE + place * 90
        yield f'<rect x="{left}" y="46" width="10" height="10" fill="{colour}"/>'
        yield f'<text x="{left + 14}" y="55">{owner}</text>'


def _box(depth: int, left: float, width: float, frame: Frame, everything: int) -> str:
    top, room = _TOP + depth * _ROW, int((width - 4) / _LETTER)
    share = f"{100 * frame.samples / max(1, everything):.1f} %"
    whole = f"{frame.name} {share}"
    label = whole if len(whole) <= room else frame.name.partition(": ")[2] or frame.name
    label = label if len(label) <= room else f"{label[: room - 1]}…" if room > 3 else ""
    colour = COLOURS.get(frame.name.partition(":")[0], _OTHER)
    text = f'<text x="{left + 2:.1f}" y="{top + 12}">{escape(label)}</text>' if label else ""
    return (
        f'<g><title>{escape(whole)}</title><rect x="{left:.1f}" y="{top}" width="{max(0.3, width - 0.5):.1f}" '
        f'height="{_ROW - 1}" fill="{colour}"/>{text}</g>'
    )

"""A scene's signal flow as a picture: inputs on the left, each route a row of its filters, outputs on the right.

The layout is plain columns, as on a patch sheet, so that no graph library is needed.
"""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final

from engine.core.routing.explain import RouteVerdict
from engine.rig.lowering.lowered_scene import LoweredRoute, LoweredScene, Lowering
from engine.rig.models.rig import Rig, Scene

_LETTER: Final = 8.2  # units of width, of the widest letters that are likely
_TITLE_LETTER: Final = 13.0  # the same for the title
_SOFT_LETTER: Final = 7.4  # the same for the small text
_BOX: Final = 34  # height of a box
_ROW: Final = 64  # height of a route with its label
_GAP: Final = 26
_REACH: Final = 90  # between columns, for the lines
_MARGIN: Final = 24
_TOP: Final = 76
_LONGEST: Final = 40  # letters of a label
_LONGEST_HEADING: Final = 120  # letters of the line beneath the title

_STYLE: Final = (
    "svg{--paper:#fffefb;--ink:#23271f;--soft:#5b6355;--leaf:#3c6e47;--box:#edf3ea;--stop:#8f3b1b}"
    "@media(prefers-color-scheme:dark){svg{--paper:#171a16;--ink:#e8e9df;--soft:#a9b1a1;--leaf:#8cc395;"
    "--box:#263026;--stop:#f2a883}}"
    "text{font:15px system-ui,'DejaVu Sans',sans-serif;fill:var(--ink)}.title{font-size:22px;font-weight:600}"
    ".soft{fill:var(--soft);font-size:13px}.port{fill:var(--box);stroke:var(--leaf);stroke-width:2}"
    ".filter{fill:var(--paper);stroke:var(--soft);stroke-width:1.5}.line{fill:none;stroke:var(--leaf);stroke-width:2}"
    ".silent{stroke-dasharray:5 5;stroke:var(--soft)}.stop{fill:var(--stop);font-weight:600}"
)


def flow(
    rig: Rig,
    scene: Scene,
    verdicts: Sequence[RouteVerdict] = (),
    source: str = "",
    heading: str = "",
    transposed: int = 0,
) -> str:
    """The picture, as SVG; `transposed`: by the song, in semitones.

    With `verdicts` it shows what each route does to one message from the input `source`; `heading` is the line that
    describes the message.
    """
    lowering = Lowering(rig)
    lowered = lowering.lowered(scene, transposed)
    routes = (*lowering.routes(rig.routes, "route"), *lowered.routes)
    before = len(lowering.departing(source)) if source else 0
    return _Picture(rig, lowered, routes, {one.route: one for one in verdicts}, source, before, heading).svg()


def _short(text: str, longest: int = _LONGEST) -> str:
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def _wide(text: str) -> float:
    return len(_short(text)) * _LETTER + 24


class _Picture:
    """One picture while it is drawn."""

    def __init__(
        self,
        rig: Rig,
        scene: LoweredScene,
        routes: Sequence[LoweredRoute],
        verdicts: Mapping[str, RouteVerdict],
        source: str,
        before: int,
        heading: str,
    ) -> None:
        """`before`: how many filters of the input come before those of each route."""
        self._rig, self._scene, self._routes, self._verdicts, self._source = rig, scene, routes, verdicts, source
        self._before = before
        self._heading = _short(heading, _LONGEST_HEADING)
        self._title = f"Scene {scene.whole.number} {scene.whole.name}"
        self._parts: list[str] = []
        self._sounds = self._bursts()
        rows = [sum(map(_wide, self._chain(route))) + _GAP * max(len(route.through) - 1, 0) for route in routes]
        labels = [_wide(route.label) for route in routes]
        self._left = max(map(_wide, rig.inputs), default=0.0)
        self._begin = _MARGIN + self._left + _REACH
        self._end = self._begin + max((*rows, *labels), default=0.0)
        self._right = max(map(_wide, (*rig.outputs, *self._sounds.values())), default=0.0)
        headed = max(len(self._title) * _TITLE_LETTER, len(self._heading) * _SOFT_LETTER) + 2 * _MARGIN
        self._width = max(self._end + _REACH + self._right + _MARGIN, headed)
        most = max(len(routes), len(rig.inputs), len(rig.outputs), 1)
        self._height = _TOP + most * _ROW + _MARGIN

    def svg(self) -> str:
        inputs = self._column(list(self._rig.inputs), _MARGIN, self._left)
        outputs = self._column(list(self._rig.outputs), self._end + _REACH, self._right)
        for number, route in enumerate(self._routes):
            self._route(self._place(number, len(self._routes)), route, inputs, outputs)
        head = f'<text class="title" x="{_MARGIN}" y="36">{escape(self._title)}</text>'
        if self._heading:
            head += f'<text class="soft" x="{_MARGIN}" y="58">{escape(self._heading)}</text>'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {self._width:g} {self._height:g}" '
            f'width="{self._width:g}" height="{self._height:g}"><title>{escape(self._words())}</title>'
            f'<style>{_STYLE}</style><rect width="100%" height="100%" fill="var(--paper)"/>'
            f"{head}{''.join(self._parts)}</svg>\n"
        )

    def _words(self) -> str:
        """The picture in words, for screen readers."""
        routes = [f"{route.label}: {', '.join(route.source)} to {', '.join(route.to)}" for route in self._routes]
        return f"{self._title}. {'; '.join(routes) or 'no routes'}"

    def _bursts(self) -> dict[str, str]:
        """What the scene's burst puts on each output."""
        found: dict[str, list[str]] = {}
        for step in self._scene.burst:
            gear = self._rig.instruments.get(step.instrument or "")
            output = gear.output if gear else step.output or ""
            found.setdefault(output, []).append(step.sound or f"program {step.program}")
        return {output: ", ".join(sounds) for output, sounds in found.items()}

    def _chain(self, route: LoweredRoute) -> list[str]:
        return [settings.filter for settings in route.through]

    def _place(self, number: int, count: int) -> float:
        """The height of the middle of a row, of `count` rows."""
        return _TOP + (self._height - _TOP - _MARGIN) * (number + 0.5) / max(count, 1)

    def _column(self, names: Sequence[str], x: float, width: float) -> dict[str, float]:
        places = {}
        for number, name in enumerate(names):
            places[name] = y = self._place(number, len(names))
            self._box("port", x, y, width, name)
            if x > _MARGIN and name in self._sounds:
                self._text("soft", x + 2, y + _BOX / 2 + 15, self._sounds[name])
        return places

    def _box(self, kind: str, x: float, y: float, width: float, text: str) -> None:
        self._parts.append(
            f'<rect class="{kind}" x="{x:g}" y="{y - _BOX / 2:g}" width="{width:g}" height="{_BOX}" '
            f'rx="{_BOX / 2 if kind == "port" else 5:g}"><title>{escape(text)}</title></rect>'
        )
        self._text("", x + 12, y + 5, text)

    def _text(self, kind: str, x: float, y: float, text: str) -> None:
        self._parts.append(f'<text class="{kind}" x="{x:g}" y="{y:g}">{escape(_short(text))}</text>')

    def _line(self, x: float, y: float, end: float, at: float, live: bool) -> None:
        bend = (end - x) / 2
        self._parts.append(
            f'<path class="line{"" if live else " silent"}" '
            f'd="M{x:g} {y:g}C{x + bend:g} {y:g} {end - bend:g} {at:g} {end:g} {at:g}"/>'
        )

    def _route(self, y: float, route: LoweredRoute, inputs: Mapping[str, float], outputs: Mapping[str, float]) -> None:
        verdict = self._verdicts.get(route.label)
        judged = verdict.filters[self._before :] if verdict is not None else ()
        asked = bool(self._heading)
        for source in dict.fromkeys(route.source):
            live = not asked or (verdict is not None and self._source == source)
            self._line(_MARGIN + self._left, inputs[source], self._begin, y, live)
        self._text("soft", self._begin, y - _BOX / 2 - 5, route.label)
        x = self._begin
        for number, name in enumerate(self._chain(route)):
            self._box("filter", x, y, _wide(name), name)
            if number < len(judged):
                here = judged[number]
                self._text("soft" if here.gave else "stop", x + 2, y + _BOX / 2 + 14, here.words)
            x += _wide(name) + _GAP
            if number + 1 < len(route.through):
                reached = number + 1 < len(judged)
                self._line(x - _GAP, y, x, y, not asked or reached)
        through = not asked or (verdict is not None and bool(verdict.result))
        begin = x - _GAP if route.through else self._begin
        self._line(begin, y, self._end, y, through)
        for name in dict.fromkeys(route.to):
            self._line(self._end, y, self._end + _REACH, outputs[name], through)

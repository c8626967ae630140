"""The outline of the current rig as pieces of JSON: what a page is sent at its first look, and what has changed since.

Each piece carries the revision since which it is as it is, so that no earlier rig needs to be kept.
"""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from engine.live.process.worker_threads import at_ease
from engine.live.socket.json_lines import written
from engine.protocol import Facts, WrittenJson
from engine.rig.models.rig import Rig, Scene
from engine.rig.rig_as_json import scene_outline, sections

_DEEP: Final = 3  # levels that are written piece by piece: an instrument may have thousands of sounds


class OutlinePiece(NamedTuple):
    """JSON, the revision since which it has been so, and what it was made of: an edit keeps the other scenes."""

    text: str
    since: int
    of: object = None


class RigOutline:
    """The outline, made once in each revision that somebody asks about. Worker threads only, one at a time."""

    def __init__(self) -> None:
        self._first = self._revision = -1
        self._sections: dict[str, OutlinePiece] = {}
        self._scenes: dict[int, OutlinePiece] = {}
        self._order = OutlinePiece("", -1)  # the numbers of the scenes

    def parts(self, rig: Rig, revision: int, since: int | None) -> tuple[int | None, Facts]:
        """The parts of the outline that are not as in the revision `since`; that revision, or None with all parts.

        `rig` is that of `revision`, which never goes back. A scene that has not changed is given by its number.
        """
        if revision != self._revision:
            self._renew(rig, revision)
        if since is None or not self._first <= since <= revision:
            since, newer = None, -2
        else:
            newer = since
        found = {name: WrittenJson(piece.text) for name, piece in self._sections.items() if piece.since > newer}
        if any(piece.since > newer for piece in (self._order, *self._scenes.values())):
            scenes = (piece.text if piece.since > newer else str(number) for number, piece in self._scenes.items())
            found["scenes"] = WrittenJson(f"[{', '.join(scenes)}]")
        return since, found

    def _renew(self, rig: Rig, revision: int) -> None:
        named = {name: _piece(self._sections, name, each, revision) for name, each in at_ease(sections(rig).items())}
        scenes = {scene.number: self._scene(scene, revision) for scene in at_ease(rig.scenes)}
        self._order = _piece({"": self._order}, "", list(scenes), revision)
        self._sections, self._scenes, self._revision = named, scenes, revision
        if self._first < 0:
            self._first = revision

    def _scene(self, scene: Scene, revision: int) -> OutlinePiece:
        known = self._scenes.get(scene.number)
        if known is not None and known.of is scene:
            return known
        return _piece(self._scenes, scene.number, scene_outline(scene), revision)._replace(of=scene)


def _piece(before: Mapping[Any, OutlinePiece], key: object, value: object, revision: int) -> OutlinePiece:
    text, known = written(value, _DEEP), before.get(key)
    return known if known is not None and known.text == text else OutlinePiece(text, revision)

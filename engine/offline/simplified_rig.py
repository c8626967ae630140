"""A version 1 rig in the words of format 2: play lines, chains and scenes by difference, proved to do the same.

Everything but the lists of scenes stays as it is written, with its comments. Comments within the lists come above them.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.offline.scene_proof import CompiledSide, SceneProof, aside
from engine.offline.shorter_scene import KeptRoute, SceneShortener, ShorterScene, Table
from engine.rig.edit.filter_words import link_in_words
from engine.rig.edit.scene_difference import as_difference
from engine.rig.edit.toml_edits import Block, Sheet, toml
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Rig, Scene, rig_models
from engine.rig.models.scene_lines import Chain
from engine.rig.read.load import naming, read
from engine.user_error import UserError

_LISTS: Final = ("play", "routes", "burst")
_WIDTH: Final = 100  # characters in a line with a whole list
_TRIED: Final = 4  # scenes that a scene is compared with
_NAME: Final = 40  # characters in the name of a chain
#: a text in quotes, or a comment
_COMMENT: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|(#[^\n]*)', re.DOTALL
)


class SimplifyError(UserError):
    """A rig cannot be simplified."""


class SimplifiedRig(NamedTuple):
    """The text in format 2, what could not be shortened and why, and whether any line has `programs = true`."""

    text: str
    kept: list[KeptRoute]
    programs: bool


def simplified(text: str, source: str, folder: Path | None = None, channel: int | None = None) -> SimplifiedRig:
    """The same rig in format 2; `channel` (1 to 16): the only one on which inputs send, None if they may send on any.

    Raises RigError, EditError or SimplifyError.
    """
    before = read(text, source, folder=folder)
    if before.format != 1:
        raise SimplifyError(f"{source} is written in format {before.format} already; simplify is for rigs of format 1")
    sheet = Sheet(text)
    shortener = SceneShortener(before, channel)
    tables = sheet.data["scenes"]
    scenes = [shortener.shortened(scene, table) for scene, table in zip(before.scenes, tables, strict=True)]
    chains = _with_chains(scenes, before)
    made = _written(sheet, _Family(before, scenes, chains, sheet.data).said(), chains)
    _prove(before, read(made, source, folder=folder), channel)
    programs = any(line.get("programs", False) for scene in scenes for line in scene.play)
    return SimplifiedRig(made, [each for scene in scenes for each in scene.kept], programs)


def _prove(before: Rig, after: Rig, channel: int | None) -> None:
    """Raises SimplifyError if a scene does something else now, or anything but the scenes has changed."""
    same = {"format": 1, "scenes": (), "chains": {}}
    if before.model_copy(update=same) != after.model_copy(update=same):
        raise SimplifyError("the rig cannot be simplified: something beside its scenes would change")
    one, other = CompiledSide(before), CompiledSide(after)
    proof = SceneProof(one, other, channel)
    for scene, now in zip(before.scenes, after.scenes, strict=True):
        said = proof.difference(scene, other.lowering.scenes.whole(now))
        if said is not None:
            raise SimplifyError(f"the rig cannot be simplified: in scene {scene.number}, {said}")


# Chains


def _with_chains(scenes: Sequence[ShorterScene], rig: Rig) -> dict[str, list[Table]]:
    """Gives names to filters that stand in several lines or routes, in place, and answers with the named chains."""
    lines = [line for scene in scenes for line in (*scene.play, *scene.routes) if line.get("through")]
    often = Counter(toml(line["through"]) for line in lines)
    named: dict[str, str] = {}
    chains: dict[str, list[Table]] = {}
    for line in lines:
        written = toml(line["through"])
        if often[written] > 1:
            if written not in named:
                named[written] = _free_name(line["through"], chains, rig)
                chains[named[written]] = line["through"]
            line["through"] = [named[written]]
    return chains


def _free_name(through: Sequence[Table], taken: Mapping[str, object], rig: Rig) -> str:
    words = ", ".join(link_in_words(each, rig.rig.middle_c) for each in _chain(through))
    if len(words) <= _NAME and words not in taken:
        return words
    return next(name for number in count(1) if (name := f"chain {number}") not in taken)


# Scenes by difference


class _Family:
    """The scenes of the rig in their new words, each of which may be like an earlier one."""

    def __init__(self, before: Rig, scenes: Sequence[ShorterScene], chains: Mapping[str, Any], data: Table) -> None:
        self._context = naming(data)
        self._whole: list[Table] = [{key: value for key in _LISTS if (value := getattr(each, key))} for each in scenes]
        models = [self._read(scene, own) for scene, own in zip(before.scenes, self._whole, strict=True)]
        named = {name: _chain(chain) for name, chain in chains.items()}
        self._rig = before.model_copy(update={"scenes": tuple(models), "chains": named})
        side = CompiledSide(self._rig)
        self._proof = SceneProof(side, side)
        self._parts = [Counter(map(repr, (*each.play, *each.routes, *each.burst))) for each in models]

    def said(self) -> list[Table]:
        """What each scene says itself: all of it, or its difference from another one where that is shorter."""
        return [min(self._ways(place), key=_length) for place in range(len(self._whole))]

    def _read(self, scene: Scene, own: Table) -> Scene:
        made = rig_models()["Scene"].model_validate({"number": 1, "name": "A", **own}, context=self._context)
        return scene.model_copy(update={key: getattr(made, key) for key in _LISTS})

    def _ways(self, place: int) -> Iterator[Table]:
        """The scene by itself, and by its difference from the scenes before it that are most alike."""
        yield self._whole[place]
        scene = self._rig.scenes[place]
        shared = [(sum((self._parts[place] & parts).values()), at) for at, parts in enumerate(self._parts[:place])]
        for common, at in sorted(shared, reverse=True)[:_TRIED]:
            base = self._rig.scenes[at]
            difference = self._difference(scene, base) if common and base.held == scene.held else None
            if difference is not None:
                yield {"like": base.number, **self._as_written(place, difference)}

    def _difference(self, scene: Scene, base: Scene) -> Table | None:
        """What the scene says if it is like the other one; None if that cannot be said, or would do something else."""
        like = scene.model_copy(update={"like": base.number})
        said = as_difference(self._rig, like, scene)
        if said is None:
            return None
        said = {key: value for key, value in said.items() if value}
        candidate = self._read(scene, {"like": base.number, **said}).model_copy(update={"like": base.number})
        scenes = tuple(candidate if each is scene else each for each in self._rig.scenes)
        whole = WholeScenes(self._rig.model_copy(update={"scenes": scenes})).whole(candidate)
        return said if self._proof.difference(scene, aside(whole)) is None else None

    def _as_written(self, place: int, said: Table) -> Table:
        """The same lists, with lines and steps as they are written in the whole scene."""
        scene, own = self._rig.scenes[place], self._whole[place]
        words = {
            (key, repr(_plain(model))): table
            for key in _LISTS
            for model, table in zip(getattr(scene, key), own.get(key, ()), strict=True)
        }
        return {key: [words.get((key, repr(each)), each) for each in listed] for key, listed in said.items()}


def _plain(one: Any) -> Table:
    table: Table = one.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    return table


def _chain(written: Sequence[Table]) -> Chain:
    chain: Chain = rig_models()["Route"].model_validate({"from": "a", "to": "b", "through": written}).through
    return chain


def _length(own: Table) -> int:
    return sum(len(toml(value)) for value in own.values())


# Writing


def _written(sheet: Sheet, scenes: Sequence[Table], chains: Mapping[str, Any]) -> str:
    blocks = sheet.blocks(("scenes",))
    if not blocks:
        raise SimplifyError("the rig has all scenes in one list; first give each scene its own [[scenes]]")
    text = sheet.text
    for place, (block, own) in reversed([*enumerate(zip(blocks, scenes, strict=True))]):
        text = text[: block.head[0]] + _scene(sheet, place, block, own) + text[block.last :]
    if chains:
        lead = min(block.lead for block in blocks)
        width = max(len(_quoted(name)) for name in chains)
        lines = "".join(f"{_quoted(name):{width}} = {toml(chain)}\n" for name, chain in chains.items())
        text = f"{text[:lead]}[chains]\n{lines}\n{text[lead:]}"
    start, end = sheet.value(("format",))
    return f"{text[:start]}2{text[end:]}"


def _quoted(name: str) -> str:
    return toml({name: 0}).removeprefix("{ ").removesuffix(" = 0 }")


def _scene(sheet: Sheet, place: int, block: Block, own: Table) -> str:
    """A scene's lines: those that stay as they are, comments of its lists, and its new lists."""
    text = sheet.text[block.head[0] : block.last]
    kept: list[tuple[int, int]] = []
    for start, end, key in sheet.pairs(("scenes", place)):
        if key not in _LISTS:
            kept.append((start, sheet.line_end(end)))
    head = sheet.line_end(block.head[1])
    lines = [sheet.text[block.head[0] : head]] + [sheet.text[start:end] for start, end in kept]
    rest, at = "", head
    for start, end in [*kept, (block.last, block.last)]:
        rest += sheet.text[at:start] + "\n"
        at = end
    comments = [found[1] for found in _COMMENT.finditer(rest) if found[1]]
    name = next((sheet.text[start:end] for start, end in kept if sheet.text[start:end].startswith("name")), "")
    width = len(name.partition("=")[0]) - 1
    made = "".join(line if line.endswith("\n") else line + "\n" for line in lines)
    made += "".join(f"{comment.rstrip()}\n" for comment in comments)
    made += "".join(_list(key, value, width) for key, value in own.items())
    return made if text.endswith("\n") else made.removesuffix("\n")


def _list(key: str, value: Any, width: int) -> str:
    line = f"{key:{max(width, 0)}} = {toml(value)}\n"
    if not isinstance(value, list | tuple) or len(line) <= _WIDTH:
        return line
    return f"{key} = [\n" + "".join(f"  {toml(each)},\n" for each in value) + "]\n"

"""Where the scenes of a rig are in its text: each under its own [[scenes]], or all of them in one list.

Either way a scene can be copied, moved and taken out as whole lines.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from engine.rig.edit.toml_edits import Block, EditError, Sheet, insert_lines, listed, table, toml
from engine.rig.edit.toml_list_edits import element_blocks, with_elements_on_lines
from engine.rig.models.references import references
from engine.rig.models.rig import Rig
from engine.rig.read.toml_layout import Path as Place
from engine.rig.scene_words import listed_numbers

Table = dict[str, Any]
SCENES: Final[Place] = ("scenes",)
_HEAD: Final = "scenes = [\n"
_TAIL: Final = "]\n"


class UnknownScene(EditError):
    """A scene is to be edited that the rig does not have."""


class ScenePlaces:
    """The scenes of a text as blocks of whole lines. `text` is that text, with each scene of a list on its own lines.

    Raises EditError if another section splits a scene.
    """

    def __init__(self, text: str) -> None:
        sheet = Sheet(text)
        self.in_list = sheet.has_value(SCENES)
        self.text = with_elements_on_lines(sheet, SCENES) if self.in_list else text
        self._sheet = Sheet(self.text)
        self.blocks: list[Block] = element_blocks(self._sheet, SCENES) if self.in_list else self._sheet.blocks(SCENES)
        self._gap = "" if self.in_list else "\n"  # between two scenes

    def part(self, place: int) -> str:
        """The lines of one scene, without the comments around it."""
        return self.text[self.blocks[place].start : self.blocks[place].last]

    def changed(self, part: str, change: Callable[[str, Place], str]) -> str:
        """The lines of one scene after a change, which gets a text with the scene, and the scene's path in it."""
        if not self.in_list:
            return change(part, (*SCENES, 0))
        return change(_HEAD + part + _TAIL, (*SCENES, 0)).removeprefix(_HEAD).removesuffix(_TAIL)

    def with_behind(self, place: int, part: str) -> str:
        """The text with more lines behind one scene and its comments."""
        return insert_lines(self.text, self.blocks[place].end, self._gap + _ended(part))

    def moved(self, place: int, target: int) -> str:
        """The text with a scene, and the comments directly above it, before another one, or behind the last."""
        block = self.blocks[place]
        scene = _ended(self.text[block.lead : block.end])
        rest = ScenePlaces(self._sheet.without(block))
        if target == len(self.blocks):
            return rest.with_behind(len(rest.blocks) - 1, scene)
        return insert_lines(rest.text, rest.blocks[target - (target > place)].lead, scene + self._gap)

    def without(self, place: int) -> str:
        """The text without a scene and the comments directly above it."""
        return self._sheet.without(self.blocks[place])

    def written(self, keys: Table, by_line: Sequence[str]) -> str:
        """A new scene with these keys, as the scenes here are written."""
        if not self.in_list:
            return table("[[scenes]]", keys, by_line=by_line)
        values = {key: value for key, value in keys.items() if value is not None}
        pairs = (f"{key} = {in_element(value) if key in by_line else toml(value)}" for key, value in values.items())
        return f"  {{ {', '.join(pairs)} }},\n"


def in_element(value: Sequence[Any]) -> str:
    """A list with a line for each element, further in than the lines of its scene."""
    return listed([f"  {toml(each)}" for each in value])[:-1] + "  ]"


def _ended(part: str) -> str:
    return part if part.endswith("\n") else part + "\n"


def scene_index(sheet: Sheet, number: int) -> int:
    """The index of a scene among the scenes."""
    numbers = [scene["number"] for scene in sheet.data["scenes"]]
    if number not in numbers:
        raise UnknownScene(f"there is no scene {number}; there are: {listed_numbers(numbers)}")
    return numbers.index(number)


def in_scene(text: str, number: int, change: Callable[[str, Place], str]) -> str:
    """The text with one scene changed: `change` gets a text that contains the scene, and the scene's path in it."""
    sheet = Sheet(text)
    place = scene_index(sheet, number)
    if sheet.has_value(SCENES):
        return change(text, (*SCENES, place))
    block = sheet.blocks(SCENES)[place]
    below = text[block.last :]
    part = change(text[block.start : block.last], (*SCENES, 0))
    return text[: block.start] + part + ("\n" if below and not part.endswith("\n") else "") + below


def scene_references(data: Table) -> Iterator[tuple[Place, int | str]]:
    """Every place that gives a scene's number or name, with what it says."""
    return ((keys, name) for keys, mark, name in references(data, Rig) if mark.section == "scenes")


def with_references(text: str, old: int | str, new: int | str) -> str:
    """The text with another number or name wherever this one is given."""
    sheet = Sheet(text)
    spans = [sheet.value(path) for path, scene in scene_references(sheet.data) if scene == old]
    for start, end in sorted(spans, reverse=True):
        text = text[:start] + toml(new) + text[end:]
    return text

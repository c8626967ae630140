"""Something in a rig that loads and yet cannot be meant so: its place in the file, what it is, and a remedy."""

from typing import NamedTuple

from engine.rig.lowering.lowered_scene import LoweredRoute
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Rig, Scene
from engine.rig.read.raw_data import Keys


class RigFinding(NamedTuple):
    """`keys`: of its place in the file; `scene`: in which it is so, None for all of them."""

    keys: Keys
    scene: Scene | None
    text: str

    def __str__(self) -> str:
        return self.text if self.scene is None else f"scene {self.scene.number} {self.scene.name}: {self.text}"


class LinePlaces:
    """Where the lines and routes of whole scenes are written: a scene may have them from one that it is like."""

    def __init__(self, rig: Rig) -> None:
        self._scenes = WholeScenes(rig)
        self._places = {scene.number: place for place, scene in enumerate(rig.scenes)}

    def of(self, scene: Scene, route: LoweredRoute) -> Keys:
        """The keys of a lowered route of this scene."""
        line = getattr(self._scenes.whole(scene), route.kind)[route.place]
        each: Scene | None = scene
        while each is not None:
            for place, written in enumerate(getattr(each, route.kind)):
                # a line may have lost its sound on the way
                if written == line or (route.kind == "play" and written.model_copy(update={"sound": None}) == line):
                    return "scenes", self._places[each.number], route.kind, place
            each = self._scenes.base(each)
        return self.scene(scene)

    def scene(self, scene: Scene) -> Keys:
        """The keys of a scene."""
        return "scenes", self._places[scene.number]

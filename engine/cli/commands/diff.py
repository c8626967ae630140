"""`bayleaf diff`: describes the differences between two scenes."""

from engine.cli.options import Json, Number, RigFile
from engine.cli.output import as_json
from engine.cli.rig_lookup import scene_of
from engine.rig.edit.differences import scenes as scenes_difference
from engine.rig.read.load import load


def diff(
    rig: RigFile,
    first: Number,
    second: Number,
    json: Json = False,
) -> None:
    """Describe the differences between two scenes."""
    loaded = load(rig)
    for number in (first, second):
        scene_of(loaded, number, rig)
    found = scenes_difference(loaded, first, second)
    if json:
        as_json({"scenes": [first, second], "differences": found})
        return
    print("\n".join(found) or f"scenes {first} and {second} do the same")

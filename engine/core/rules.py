"""The rules of what is sent that have changed: recordings of an earlier version are replayed by those of its time."""

from typing import Final, NamedTuple

from engine.core.cable.silencing_messages import SILENCING, SILENCING_1, Silencing


class Rules(NamedTuple):
    """`silencing`: how everything is ended at once.

    `clock_goes_on`: the rig's own clock sends clocks while it is stopped, unless the rig forbids it, and the song
    position before Continue. `only_changes`: a burst leaves out what its channel is on already, and an edit sends the
    set-up that it changes. `merges`: where several players share a channel, more than keys is merged. `gestures`: what
    shapes a note that sounds goes on reaching it after a scene change, and what a scene newly reaches is sent the
    positions of pedals and wheels.
    """

    silencing: Silencing = SILENCING
    clock_goes_on: bool = True
    only_changes: bool = True
    merges: bool = True
    gestures: bool = True


RULES: Final = Rules()
#: as they were when flight recordings had format 1
RULES_1: Final = Rules(SILENCING_1, clock_goes_on=False, only_changes=False, merges=False, gestures=False)

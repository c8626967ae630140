"""An MPE zone in the rig file, of an input or of an instrument: `mpe = { members = [2, 8], bend = 48 }`."""

from engine.midi.mpe import MANAGER_RANGE, MEMBER_RANGE, Zone, zone
from engine.rig.models.values import Part
from filters.mpe import MemberEnds, Semitones


class MpeZone(Part):
    """`members`: the first and the last, 1 to 16; `bend`, `manager_bend`: how many semitones the bends of members and
    of the manager reach."""

    members: MemberEnds
    bend: Semitones = MEMBER_RANGE
    manager_bend: Semitones = MANAGER_RANGE

    @property
    def zone(self) -> Zone:
        """The channels."""
        return zone(*self.members)

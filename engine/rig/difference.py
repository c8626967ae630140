"""What differs between two scenes, two rigs or two texts, in a musician's words."""

from engine.rig.models import Rig


def scenes(rig_a: Rig, number_a: int, rig_b: Rig, number_b: int) -> list[str]:
    """Sentences; empty if the two do the same. Raises KeyError with the number that is not there."""
    raise NotImplementedError


def rigs(a: Rig, b: Rig) -> list[str]:
    """Sentences; empty if the rigs are equal."""
    raise NotImplementedError


def text(old: str, new: str, from_name: str, to_name: str) -> str:
    """A unified diff; "" if the texts are equal."""
    raise NotImplementedError

"""`bayleaf handover`: puts the other machine of a rig in charge."""

from engine.cli.options import Json, Name
from engine.cli.requests import do


def handover(name: Name = "bayleaf", json: Json = False) -> None:
    """Put the other machine in charge at the next quiet moment.

    Given to the engine in charge, the other one takes over; given to the standby, the standby does.
    """
    do(name, {"do": "handover"}, json)

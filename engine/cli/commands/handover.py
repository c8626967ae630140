"""`bayleaf handover`: puts the other machine of a rig in charge."""

from engine.cli.options import Json, Name
from engine.cli.requests import do


def handover(name: Name = "bayleaf", json: Json = False) -> None:
    """Put the other machine in charge at the next quiet moment. Sent to the standby, the standby takes over."""
    do(name, {"do": "handover"}, json)

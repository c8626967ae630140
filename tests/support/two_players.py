"""Two players of a router whose scenes have these routes: Anna has the input keys, Ben the input pads."""

from engine.core.engine import Engine
from tests.support.engine_calls import recall
from tests.support.pit_engine import engine, hexed

ANNA, BEN = 0, 1  # the inputs keys and pads
BOTH = '{ from = ["keys", "pads"], to = "strings" }'


def scenes(*routes: str, more: str = "") -> Engine:
    """Scenes 1, 2 and so on with these routes; the first is in force."""
    made = engine(
        "".join(
            f'[[scenes]]\nnumber = {number}\nname = "S{number}"\nroutes = [ {listed} ]\n{more}\n'
            for number, listed in enumerate(routes, 1)
        )
    )
    recall(made, 0, 1)
    return made


def plays(router: Engine, player: int, *messages: str) -> list[str]:
    """What goes out for these messages of one player."""
    return [one for each in messages for one in hexed(router.receive(1, player, bytes.fromhex(each)))]

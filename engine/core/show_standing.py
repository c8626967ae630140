"""Where a show is, whole: every player's place, what is muted and which spare channels are taken; and back there again.

In JSON, as recordings have it: {"players": {"": {"scene": 2, "setlist": "Pit", "place": 1, "song": "", "step": 0}},
"muted": ["brass"], "channels": {"tuba": 3}}; "" is the rest of the rig, and players come in the order of their recalls.
"""

from typing import Any

from engine.core.commands import FollowShow
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.scene_snapshot import channels

_FIELDS = {"scene": int, "setlist": str, "place": int, "song": str, "step": int}

Standing = dict[str, Any]


def standing(engine: Engine) -> Standing:
    """Where the show is now; players are left out until their first scene."""
    state = engine.state
    shows = {stack.name: position for stack, _ in state.scenes_in_force() if (position := stack.position) is not None}
    players = {name: position._asdict() for name, position in shows.items()}
    return {"players": players, "muted": sorted(state.muted), "channels": channels(engine)}


def checked(found: object) -> Standing:
    """What a file says, if it is such a place. Raises ValueError."""
    if not isinstance(found, dict) or found.keys() != {"players", "muted", "channels"}:
        raise ValueError("the place of the show has players, muted and channels")
    players, muted, taken = (found[key] for key in ("players", "muted", "channels"))
    if not isinstance(players, dict) or not all(map(_is_position, players.values())):
        raise ValueError("each player has scene, setlist, place, song and step")
    if not isinstance(muted, list) or not all(isinstance(each, str) for each in muted):
        raise ValueError("muted is a list of names")
    if not isinstance(taken, dict) or not all(type(each) is int and 1 <= each <= 16 for each in taken.values()):
        raise ValueError("channels are numbers from 1 to 16 by instrument")
    return found


def _is_position(found: object) -> bool:
    return (
        isinstance(found, dict)
        and found.keys() == _FIELDS.keys()
        and all(type(found[key]) is kind for key, kind in _FIELDS.items())
    )


def go_there(engine: Engine, now: int, place: Standing) -> None:
    """Let a new engine be where the show was, as far as it has the scenes; what that sends, nobody gets."""
    muted, taken = tuple(place["muted"]), tuple(place["channels"].items())
    main: ShowPosition | None = None
    for name, found in place["players"].items():  # one by one: the last recall decides what two share
        position = ShowPosition(**found)
        main = position if name == "" else main
        players = ((name, position, None),) if name else ()
        engine.apply(now, FollowShow(main, muted, channels=taken, players=players), "before the recording")

"""Places for connections: how many each kind of browser may hold, and which one gives way when there are too many.

So nobody on the network can take the places of paired browsers, nor these the places of the player's own machine.
"""

import contextlib
from collections import Counter
from collections.abc import Iterator, Sequence
from math import inf
from typing import Final, Literal

import trio

from engine.panel.paired_browsers import Role

#: what a connection has shown itself to be: the latest in this list is the last to give way
Standing = Literal["stranger", "view", "show", "operate", "here"]
#: connections of each kind at once; "here" is this machine
_MOST: Final[dict[Standing, int]] = {"stranger": 40, "view": 20, "show": 40, "operate": 40, "here": 40}
_ORDER: Final = [*_MOST]
_OF_AN_ADDRESS: Final = 8  # of another machine; a browser makes six for a page, and one for the live socket
_PATIENCE: Final = 10.0  # seconds for a request with its body, and for its answer


class Place:
    """One connection's. What serves it runs in `scope`, which is cancelled when the place has to be given up."""

    def __init__(self, address: str, standing: Standing) -> None:
        """`address` of the other end."""
        self.address = address
        self.standing = standing
        self.scope = trio.CancelScope()
        self.heard_at = trio.current_time()
        self.idle = False  # between two requests
        self.hurry()

    def heard(self) -> None:
        """The other end has sent something."""
        self.heard_at = trio.current_time()

    def hurry(self) -> None:
        """A request has to be over within seconds from now."""
        self.idle = False
        self.scope.deadline = trio.current_time() + _PATIENCE

    def rest(self) -> None:
        """A request is over, and another one may follow within seconds."""
        self.hurry()
        self.idle = True

    def stay(self) -> None:
        """A live socket may stay for as long as the browser likes."""
        self.scope.deadline = inf


class Places:
    """All connections that there are."""

    def __init__(self) -> None:
        self._taken: list[Place] = []

    @contextlib.contextmanager
    def taken(self, address: str, here: bool) -> Iterator[Place]:
        """A place for the length of the block. `here`: the other end is on this machine."""
        place = Place(address, "here" if here else "stranger")
        self._taken.append(place)
        self._make_room(place)
        try:
            yield place
        finally:
            self._taken.remove(place)

    def show(self, place: Place, role: Role | None) -> None:
        """A request on this connection was that of a browser with this role, or of one that is not paired."""
        if place.standing != "here":
            place.standing = role or "stranger"
            self._make_room(place)

    def _make_room(self, newest: Place) -> None:
        staying = [place for place in self._taken if not place.scope.cancel_called]
        if newest.standing != "here":
            _thin([place for place in staying if place.address == newest.address], _OF_AN_ADDRESS)
        _thin([place for place in staying if place.standing == newest.standing], _MOST[newest.standing])


def _thin(rivals: Sequence[Place], most: int) -> None:
    """End one of them if there are too many: of the address with the most, one between two requests, or the one that
    was silent longest."""
    rivals = [place for place in rivals if not place.scope.cancel_called]
    if len(rivals) > most:
        held = Counter(place.address for place in rivals)
        greedy = (place for place in rivals if held[place.address] == max(held.values()))
        min(greedy, key=lambda place: (not place.idle, _ORDER.index(place.standing), place.heard_at)).scope.cancel()

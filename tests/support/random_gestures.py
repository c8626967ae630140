"""Random scenes of plain connections, and random playing with pedals, wheels, pressure, recalls, mutes and edits."""

from typing import Any, Final, Protocol

from hypothesis import strategies as st

from tests.support.audible_receiver import BEND, PRESSURE, Part
from tests.support.judged_engine import MS
from tests.support.plain_connections import Connection, Hand, PlainShow

HANDS: Final[tuple[Hand, ...]] = ((0, 0), (1, 0), (1, 1))
_PLACES: Final = ((0, 0), (1, 0), (1, 1))
#: everywhere, where a rig has connections of every scene
_LASTING: Final = (1, 3)
SCENES: Final = 3
_KEYS: Final = 2  # of a hand: two next to each other, so that no two hands press one key of a place
_LOWEST: Final = 48

_STOPPED: Final = (
    "pitch_bend",
    "aftertouch",
    "poly_aftertouch",
    *(f"controller {number}" for number in (1, 7, 11, 64, 66, 74)),
)
#: breath plays modulation, or one sound controller another: what they are renumbered to rests where they do
_RENUMBERED: Final = ((), (), ((2, 1),), ((71, 74),))
_PARTS: Final[tuple[Part, ...]] = (
    *(BEND, BEND, BEND, PRESSURE),
    *((0xB0, number) for number in (1, 1, 2, 4, 7, 10, 11, 11, 11, 64, 64, 64, 64, 66, 67, 69, 71, 74)),
)


@st.composite
def connections(draw: st.DrawFn, name: str) -> Connection:
    """One connection; `place` is still to be filled in."""
    renumbered = draw(st.sampled_from(_RENUMBERED))
    stopped = draw(st.just([]) | st.lists(st.sampled_from(_STOPPED), max_size=3, unique=True))
    taken = [f"controller {other}" for _, other in renumbered]
    return Connection(
        name,
        draw(st.sampled_from(HANDS)),
        (0, 0),
        draw(st.sampled_from((0, 0, 12, -12))),
        draw(st.sampled_from(((0, 127), (0, 127), (0, 127), (_LOWEST, _LOWEST + 4)))),
        tuple(dict.fromkeys((*stopped, *taken))),
        renumbered,
    )


@st.composite
def shows(draw: st.DrawFn, cuts: bool = False) -> PlainShow:
    """Three scenes, in which places are reached by one hand each, and an empty one (4)."""
    lasting = draw(st.none() | connections("always"))
    scenes = []
    for scene in range(1, SCENES + 1):
        places = draw(st.lists(st.sampled_from(_PLACES), min_size=1, max_size=3, unique=True))
        made = [draw(connections(f"{scene} {at}")) for at in range(len(places))]
        scenes.append(tuple(each._replace(place=place) for each, place in zip(made, places, strict=True)))
    return PlainShow(
        (lasting._replace(place=_LASTING),) if lasting else (),
        (*scenes, ()),
        frozenset(draw(st.sets(st.integers(1, SCENES))) if cuts else ()),
    )


_wait = st.sampled_from([0, 0, 0, 0, 0, 0, 1, 100, 600])
_hand = st.sampled_from(HANDS)
_key = st.integers(0, _KEYS - 1)
_bends = st.sampled_from([0, 0x2000, 0x2001, 0x3FFF])
_values = st.sampled_from([0, 40, 64, 100, 127])
_moves = st.sampled_from(_PARTS).flatmap(lambda part: st.tuples(st.just(part), _bends if part == BEND else _values))
_keys = st.tuples(_wait, st.just("key"), _hand, _key)
_moved = st.tuples(_wait, st.just("move"), _hand, _moves)

_recalled = st.tuples(_wait, st.just("recall"), st.integers(1, SCENES + 1), st.none())

#: milliseconds since the last event, then: nothing, a key goes down or up, a hand takes all its keys up, a hand moves
#: something or presses a key that it holds harder, a hand sends All Sound Off or All Notes Off, a scene is recalled, a
#: connection of a scene is muted or unmuted, the rig becomes the other one
deeds: st.SearchStrategy[list[tuple[int, str, Any, Any]]] = st.lists(
    st.one_of(
        st.tuples(_wait, st.just("wait"), st.none(), st.none()),
        _keys,
        _keys,
        _keys,
        _moved,
        _moved,
        _moved,
        st.tuples(_wait, st.just("touch"), _hand, st.tuples(_key, _values)),
        st.tuples(_wait, st.just("let go"), _hand, st.none()),
        st.tuples(_wait, st.just("end"), _hand, st.sampled_from((120, 123))),
        _recalled,
        _recalled,
        st.tuples(_wait, st.just("mute"), st.integers(1, SCENES), st.integers(0, 3)),
        st.tuples(_wait, st.just("edit"), st.integers(0, 1), st.none()),
    ),
    min_size=30,
    max_size=50,
)


def key_of(hand: Hand, number: int) -> int:
    """One of the keys of a hand."""
    return _LOWEST + _KEYS * HANDS.index(hand) + number


class Player(Protocol):
    """What can be played and commanded."""

    show: PlainShow

    def is_down(self, hand: Hand, key: int) -> bool:
        """Whether this hand holds this key."""

    def press(self, hand: Hand, key: int) -> None:
        """A key goes down."""

    def release(self, hand: Hand, key: int) -> None:
        """A key goes up."""

    def move(self, hand: Hand, part: Part, value: int) -> None:
        """A pedal, a wheel, a fader, or the pressure of a finger."""

    def end(self, hand: Hand, number: int) -> None:
        """All Sound Off (120) or All Notes Off (123)."""

    def recall(self, scene: int) -> None:
        """A scene comes into force."""

    def toggle(self, name: str) -> None:
        """Mute a route, or unmute it."""

    def edit(self, show: PlainShow) -> None:
        """The rig is edited into this one."""

    def wait(self, length: int) -> None:
        """Time passes (ns)."""


def perform(played: Player, shows: tuple[PlainShow, PlainShow], stream: list[tuple[int, str, Any, Any]]) -> None:
    """Do all this; a mute of a connection that the rig does not have is left out."""
    for wait, what, which, more in stream:
        played.wait(wait * MS)
        match what:
            case "key":
                key = key_of(which, more)
                (played.release if played.is_down(which, key) else played.press)(which, key)
            case "let go":
                for key in [key for key in range(128) if played.is_down(which, key)]:
                    played.release(which, key)
            case "move":
                played.move(which, *more)
            case "touch":
                key = key_of(which, more[0])
                if played.is_down(which, key):
                    played.move(which, (0xA0, key), more[1])
            case "end":
                played.end(which, more)
            case "recall":
                played.recall(which)
            case "mute":
                if more < len(played.show.scenes[which - 1]):
                    played.toggle(f"{which} {more}")
            case "edit":
                played.edit(shows[which])

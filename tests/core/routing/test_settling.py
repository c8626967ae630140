"""A note that comes right after a recall waits for what belongs to its own channel, and for nothing else."""

from engine.core.commands import RecallScene
from engine.core.engine import Engine
from engine.rig.read.load import read
from tests.support.engine_calls import apply, engine_of, recall
from tests.support.pit_engine import MS, hexed

KEYS, PADS = 0, 1
STRINGS, BRASS = 0, 1
RIG = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c" }
brass = { port = "d" }
[[scenes]]
number = 1
name = "Before"
routes = [ { from = "pads", to = "brass" } ]
[[scenes]]
number = 2
name = "Split"
routes = [
  { from = "keys", to = "brass", through = [ { filter = "zone", notes = [0, 59] } ] },
  { from = "keys", to = "strings", through = [ { filter = "zone", notes = [60, 127] } ] },
  { from = "pads", to = "strings", through = [ { filter = "channels", map = { 1 = 2 } } ] },
]
"""


def split() -> Engine:
    """Both have moved expression and a wheel, and scene 2 has just been recalled: nothing is settled yet."""
    made = engine_of(read(RIG, "test"))
    recall(made, 0, 1)
    for message in ("B0 0B 20", "B0 01 30"):
        made.receive(MS, KEYS, bytes.fromhex(message))
    for message in ("B0 0B 10", "B0 4A 11", "B0 01 12"):
        made.receive(MS, PADS, bytes.fromhex(message))
    apply(made, 2 * MS, RecallScene(2))
    return made


def played(made: Engine, message: str) -> tuple[list[str], list[str]]:
    """What strings and brass are sent at once for a message of the keys."""
    sent = made.receive(2 * MS, KEYS, bytes.fromhex(message))
    return hexed(sent, STRINGS), hexed(sent, BRASS)


def settled(made: Engine) -> tuple[list[str], list[str]]:
    """What strings and brass are sent by what is due within ten milliseconds."""
    sent = []
    while made.due is not None and made.due <= 12 * MS:
        sent += made.tick(made.due)
    return sorted(hexed(sent, STRINGS)), sorted(hexed(sent, BRASS))


def test_a_note_is_preceded_by_the_positions_of_its_own_channel() -> None:
    """Those of other channels follow it."""
    made = split()
    strings, brass = played(made, "90 30 40")
    assert (strings, sorted(brass[:-1]), brass[-1]) == ([], ["B0 01 30", "B0 0B 20"], "90 30 40")
    assert settled(made) == (["B0 01 30", "B0 0B 20", "B1 01 12", "B1 0B 10", "B1 4A 11"], [])


def test_what_another_player_has_left_there_rests_first() -> None:
    """The players who have left something on the channel are settled there, too; the rest of theirs follows."""
    made = split()
    made.receive(2 * MS, PADS, bytes.fromhex("D0 05"))  # leads elsewhere now
    _, brass = played(made, "90 30 40")
    assert brass[-1] == "90 30 40"
    assert "B0 01 12" not in brass
    assert settled(made)[1] == []


def test_a_chord_settles_its_channel_once() -> None:
    """The second note of a channel costs no more than any other."""
    made = split()
    played(made, "90 30 40")
    assert played(made, "90 31 40") == ([], ["90 31 40"])
    strings, brass = played(made, "90 48 40")
    assert (sorted(strings[:-1]), strings[-1], brass) == (["B0 01 30", "B0 0B 20"], "90 48 40", [])
    assert settled(made) == (["B1 01 12", "B1 0B 10", "B1 4A 11"], [])


def test_a_note_of_those_who_are_settled_last_is_preceded_by_their_positions() -> None:
    """A recall settles some players at a time. One who plays sooner has the positions sent before the note."""
    made = split()
    for number in (1, 7, 10, 71):
        made.receive(2 * MS, KEYS, bytes((0xB0, number, 0x21)))
    apply(made, 3 * MS, RecallScene(1))
    apply(made, 4 * MS, RecallScene(2))
    due = made.due
    assert due is not None
    made.tick(due)  # the keys' turn
    sent = hexed(made.receive(due, PADS, bytes.fromhex("90 48 40")), STRINGS)
    assert (sorted(sent[:-1]), sent[-1]) == (["B1 01 12", "B1 0B 10", "B1 4A 11"], "91 48 40")

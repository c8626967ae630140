"""The test note: a note that no player plays, to find out what an output sounds like. (Our own design.)

Note-on velocity 64 is the standard's middle (MIDI 1.0 Detailed Specification 4.2.1 p. 10).
"""

from engine.core.engine import Engine
from engine.core.routing.held_presses import Target
from tests.support.engine_calls import adopt, command, finish, play_test_note, recall
from tests.support.pit_engine import MS, SCENES, engine, hexed, run_dry

STRINGS, BRASS = 0, 1
KEYS = 0
LENGTH = 500 * MS
NOTE = Target(BRASS, 4, 60)


def router() -> Engine:
    made = engine()
    recall(made, 0, 1)
    run_dry(made, 0)
    return made


def test_it_ends_by_itself() -> None:
    """The note-on goes at once, the note-off when its time is over, and no note is left sounding."""
    made = router()
    assert hexed(play_test_note(made, MS, NOTE, LENGTH), BRASS) == ["94 3C 40"]
    assert made.due == MS + LENGTH
    assert hexed(made.tick(MS + LENGTH - 1)) == []
    assert hexed(made.tick(MS + LENGTH), BRASS) == ["84 3C 40"]
    assert made.state.ledger.sounding() == 0


def test_it_ends_over_a_scene_change() -> None:
    """A scene change neither cuts it without a note-off nor leaves it hanging."""
    made = router()
    play_test_note(made, MS, NOTE, LENGTH)
    recall(made, 2 * MS, 2)
    assert made.state.ledger.sounding() == 1
    assert "84 3C 40" in hexed(made.tick(MS + LENGTH), BRASS)


def test_it_ends_at_a_panic_an_edit_and_the_end() -> None:
    """Anything that ends all notes also ends the test note, once."""
    panicked = router()
    play_test_note(panicked, MS, NOTE, LENGTH)
    _, out = command(panicked, 2 * MS, "panic")
    _, later = run_dry(panicked, 2 * MS)
    assert hexed(out + later, BRASS).count("84 3C 40") == 1

    old, new = router(), engine(SCENES.replace("semitones = 7", "semitones = 5"))
    recall(old, 0, 2)
    run_dry(old, 0)
    play_test_note(old, MS, NOTE, LENGTH)
    out = adopt(old, 2 * MS, new.rig)
    _, later = run_dry(old, 2 * MS)
    assert hexed(out + later, BRASS).count("84 3C 40") == 1

    ended = router()
    play_test_note(ended, MS, NOTE, LENGTH)
    assert hexed(finish(ended, 2 * MS), BRASS) == ["84 3C 40"]
    assert hexed(ended.tick(MS + LENGTH)) == []


def test_it_does_not_cut_what_a_player_holds() -> None:
    """If a player holds the same key there, it sounds until both the player and the test note have released it."""
    made = router()
    made.receive(0, KEYS, b"\x94\x3c\x40")
    play_test_note(made, MS, NOTE, LENGTH)
    assert hexed(made.tick(MS + LENGTH), BRASS) == []
    assert hexed(made.receive(2 * LENGTH, KEYS, b"\x84\x3c\x40"), BRASS) == ["84 3C 40"] * 2


def test_two_of_one_key_have_two_note_offs() -> None:
    """Two test notes within half a second each have their own note-off."""
    made = router()
    play_test_note(made, MS, NOTE, LENGTH)
    play_test_note(made, 2 * MS, NOTE, LENGTH)
    _, out = run_dry(made, 2 * MS)
    assert hexed(out, BRASS) == ["84 3C 40"] * 2
    assert made.state.ledger.sounding() == 0

"""What hands and feet have moved, by itself. (MIDI 1.0 p. 12: a new MSB sets its LSB to 0.)"""

from engine.core.routing.sent_values import Moved, SentValues, moves_of

VOLUME, VOLUME_LSB = Moved(1, bytes((0xB2, 7))), Moved(1, bytes((0xB2, 39)))


def _move(values: SentValues, text: str) -> None:
    message = bytes.fromhex(text)
    values.move(0, message, moves_of(1, (message,)))


def test_a_new_msb_sets_its_lsb_to_0_and_no_other() -> None:
    values = SentValues()
    for message in ("B2 07 40", "B2 27 05", "B2 2B 09"):
        _move(values, message)
    assert values.now(VOLUME_LSB) == bytes.fromhex("B2 27 05")
    _move(values, "B2 07 41")
    assert values.now(VOLUME) == bytes.fromhex("B2 07 41")
    assert values.now(VOLUME_LSB) is None
    assert values.now(Moved(1, bytes((0xB2, 43)))) == bytes.fromhex("B2 2B 09")


def test_what_comes_to_rest_is_not_kept() -> None:
    values = SentValues()
    _move(values, "E2 00 20")
    assert values.moved() == [Moved(1, b"\xe2")]
    _move(values, "E2 00 40")
    assert values.moved() == []

"""`channels`: only some channels pass, or they arrive on other channels."""

from tests.support.filter_bench import heard, refusal


def test_keep_lets_only_these_channels_through() -> None:
    """A message not on a kept channel is silent, whatever its kind (channel nibble: MIDI 1.0 Table I)."""
    keep = 'filter = "channels", keep = [1, 10]'
    assert heard(keep, "90 3C 40", "99 24 7F", "91 3C 40", "BF 07 64", "C1 05") == ["90 3C 40", "99 24 7F"]


def test_drop_stops_these_channels() -> None:
    """A message on a dropped channel is silent, all else passes (channel nibble: MIDI 1.0 Table I)."""
    drop = 'filter = "channels", drop = [16]'
    assert heard(drop, "9F 3C 40", "DF 10", "9E 3C 40", "E0 00 40") == ["9E 3C 40", "E0 00 40"]


def test_map_moves_a_channel() -> None:
    """Every kind of message on a mapped channel moves to the other channel, in its own form."""
    to_five = 'filter = "channels", map = { 1 = 5 }'
    came = ["80 3C 11", "90 3C 40", "90 3C 00", "A0 3C 0C", "B0 07 64", "C0 05", "D0 21", "E0 01 40", "91 3C 40"]
    went = ["84 3C 11", "94 3C 40", "94 3C 00", "A4 3C 0C", "B4 07 64", "C4 05", "D4 21", "E4 01 40", "91 3C 40"]
    assert heard(to_five, *came) == went


def test_channels_may_change_places() -> None:
    """A map acts once on each message, so two channels can be swapped."""
    assert heard('filter = "channels", map = { 1 = 2, 2 = 1 }', "90 3C 40", "91 3C 40") == ["91 3C 40", "90 3C 40"]


def test_keep_and_drop_look_at_what_came_in() -> None:
    """keep and drop look at the incoming channel, map acts on what they let through."""
    assert heard('filter = "channels", keep = [2], map = { 1 = 2, 2 = 3 }', "90 3C 40", "91 3C 40") == ["92 3C 40"]
    assert heard('filter = "channels", drop = [2], map = { 1 = 2 }', "90 3C 40", "91 3C 40") == ["91 3C 40"]


def test_what_is_allowed_is_said() -> None:
    """Each mistake gets an answer that says what is allowed."""
    assert "at least one of keep, drop, map" in refusal('filter = "channels"')
    assert "keep.1: Value error, a channel from 1 to 16" in refusal('filter = "channels", keep = [1, 0]')
    assert "a list of channels, at least one" in refusal('filter = "channels", keep = []')
    assert "a list of channels" in refusal('filter = "channels", drop = 3')
    assert "map.17.[key]: Value error, a channel from 1 to 16" in refusal('filter = "channels", map = { 17 = 1 }')
    assert "map.1: Value error, a channel from 1 to 16" in refusal('filter = "channels", map = { 1 = true }')
    assert "at least one entry" in refusal('filter = "channels", map = {}')
    assert "channel 3 is in keep and in drop" in refusal('filter = "channels", keep = [1, 3], drop = [3]')
    assert "each key only once" in refusal('filter = "channels", map = { 1 = 2, 01 = 3 }')

"""Where a show is, as recordings have it: what is not such a place is refused. The form is the project's own."""

from typing import Any

import pytest

from engine.core.show_standing import checked

PLACE: dict[str, Any] = {
    "players": {"anna": {"scene": 2, "setlist": "Pit", "place": 1, "song": "", "step": 0}},
    "muted": ["brass"],
    "channels": {"tuba": 16},
}


def test_a_place_is_taken_as_it_is() -> None:
    assert checked(PLACE) == PLACE


@pytest.mark.parametrize(
    ("part", "value", "text"),
    [
        ("players", [], "each player has scene"),
        ("players", {"anna": {"scene": 2}}, "each player has scene"),
        ("players", {"anna": PLACE["players"]["anna"] | {"scene": "2"}}, "each player has scene"),
        ("players", {"anna": PLACE["players"]["anna"] | {"step": True}}, "each player has scene"),
        ("muted", "brass", "muted is a list of names"),
        ("muted", ["brass", 3], "muted is a list of names"),
        ("channels", [], "channels are numbers from 1 to 16"),
        ("channels", {"tuba": 0}, "channels are numbers from 1 to 16"),
        ("channels", {"tuba": 17}, "channels are numbers from 1 to 16"),
        ("channels", {"tuba": "3"}, "channels are numbers from 1 to 16"),
        ("more", 1, "has players, muted and channels"),
    ],
)
def test_what_is_none_is_refused(part: str, value: object, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        checked(PLACE | {part: value})

"""Long texts for the player are cut, and say where the rest is."""

from engine.user_error import shortened


def test_a_long_list_is_cut() -> None:
    """Five lines of a hundred are shown, with the number of the others and the remedy."""
    lines = [f"pit.toml:{number}: wrong" for number in range(100)]
    shown = shortened("\n".join(lines), "bayleaf check pit.toml lists them").split("\n")
    assert shown == [*lines[:5], "… and 95 more lines; bayleaf check pit.toml lists them"]


def test_a_short_list_stays() -> None:
    """A note about one more line would be no shorter than the line."""
    text = "\n".join("abcdef")
    assert shortened(text, "elsewhere") == text

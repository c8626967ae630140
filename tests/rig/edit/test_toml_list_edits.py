"""Lists of a TOML text are edited element by element, and what stays is left as it is written (TOML 1.0)."""

from typing import Any

import pytest

from engine.rig.edit.toml_list_edits import block_changed, list_changed, table_changed

ROUTES = """\
[[a]]
b = 1   # one

# above two
[[a]]
b = 2
# below two

[c]
d = 3
"""


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        (0, "[[a]]\nb = 9\n\n" + ROUTES),
        (1, ROUTES.replace("# above two\n", "[[a]]\nb = 9\n\n# above two\n")),
        (2, ROUTES.replace("# below two\n", "# below two\n\n[[a]]\nb = 9\n")),
    ],
)
def test_an_element_with_a_head_of_its_own_is_added(place: int, expected: str) -> None:
    """Before the element of that place and its comments, or after the last one and its comments."""
    assert block_changed(ROUTES, ("a",), "add", place, {"b": 9}) == expected


def test_an_element_with_a_head_of_its_own_is_removed() -> None:
    """With its comments and the empty line above."""
    assert block_changed(ROUTES, ("a",), "drop", 0, {}) == ROUTES[ROUTES.index("\n# above two") :]
    assert block_changed(ROUTES, ("a",), "drop", 1, {}) == "[[a]]\nb = 1   # one\n\n[c]\nd = 3\n"


def test_a_list_takes_its_steps() -> None:
    """Put, drop and add, last place first."""
    steps = [("add", 3, 2), ("drop", 2, 0), ("put", 1, 1)]
    written = ["1", "8", "9"]
    assert list_changed("a = [1, 2, 3] # all", ("a",), steps, written, lines=False) == "a = [1, 8, 9] # all"
    assert list_changed("a = []", ("a",), [("add", 0, 0)], ["7"], lines=True) == "a = [\n  7,\n]"


def changed(text: str, was: dict[str, Any], keys: dict[str, Any]) -> str:
    """The text of which a table `a` has changed its meaning from `was` to `keys`."""
    return table_changed(text, ("a",), (was, keys), keys)


def test_a_section_keeps_the_lines_that_mean_the_same() -> None:
    """A key whose value changes is changed in place, a new one comes last, and one that is gone goes with its line."""
    text = "[a]\nb = 1   # one\nc = 2   # two\nd = 3   # three\n"
    made = changed(text, {"b": 1, "c": 2, "d": 3}, {"b": 1, "c": 5, "e": 4, "f": None})
    assert made == "[a]\nb = 1   # one\nc = 5   # two\ne = 4\n"


def test_a_table_on_one_line() -> None:
    """It is changed in place, unless a key is to go: then it is written again as a whole."""
    text = "a = { b = 0x01, c = 2 } # here\n"
    assert changed(text, {"b": 1, "c": 2}, {"b": 1, "c": 3}) == "a = { b = 0x01, c = 3 } # here\n"
    assert changed(text, {"b": 1, "c": 2}, {"b": 1, "c": 2, "d": 3}) == "a = { b = 0x01, c = 2, d = 3 } # here\n"
    assert changed(text, {"b": 1, "c": 2}, {"b": 1}) == "a = { b = 1 } # here\n"


def test_a_chain_keeps_the_filters_that_stay() -> None:
    """A list of tables is changed element by element; a list of other things is written again."""
    text = "a = { b = [ { f = 0x01 }, { f = 2 } ], c = [0x01, 2] }"
    was = {"b": [{"f": 1}, {"f": 2}], "c": [1, 2]}
    assert changed(text, was, was | {"b": [{"f": 1}, {"f": 3}]}) == text.replace("{ f = 2 }", "{ f = 3 }")
    assert changed(text, was, was | {"c": [1, 3]}) == text.replace("[0x01, 2]", "[1, 3]")


def test_a_key_that_is_a_section_below_has_the_whole_written_again() -> None:
    """What is spread over several heads cannot be changed in its place."""
    text = "[[a]]\nb = 1 # one\n[a.c]\nd = 2\n\n[e]\n"
    keys = {"b": 1, "c": {"d": 3}}
    assert (
        table_changed(text, ("a", 0), ({"b": 1, "c": {"d": 2}}, keys), keys) == "[[a]]\nb = 1\nc = { d = 3 }\n\n[e]\n"
    )

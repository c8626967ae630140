"""Single parts of a TOML text are edited, and everything around them stays as it is, byte for byte (TOML 1.0)."""

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.rig.edit.toml_edits import EditError, Sheet, changes, insert_lines, listed, table, toml

SHOW = """\
# the file
format = 1

# above the first
# and again
[[scenes]]   # a head
number = 1
# inside
[[scenes.routes]]
from = "keys"   # behind
# below the first

# above the second
[[scenes]]
number = 2
burst = [
  { program = 1 },
]

[[setlists]]
name = "Friday"
# below the last
"""


def parts(text: str, section: str = "scenes") -> list[tuple[str, str, str]]:
    """Of each block of a section the comments above it, what it says, and the comments below it."""
    found = Sheet(text).blocks((section,))
    return [(text[one.lead : one.start], text[one.start : one.last], text[one.last : one.end]) for one in found]


def test_a_block_reaches_from_the_comments_above_its_head_to_those_below_it() -> None:
    """Sections below a head belong to it; comments directly above the next head belong to that one."""
    assert parts(SHOW) == [
        (
            "# above the first\n# and again\n",
            '[[scenes]]   # a head\nnumber = 1\n# inside\n[[scenes.routes]]\nfrom = "keys"   # behind\n',
            "# below the first\n",
        ),
        ("# above the second\n", "[[scenes]]\nnumber = 2\nburst = [\n  { program = 1 },\n]\n", ""),
    ]
    assert parts(SHOW, "setlists") == [("", '[[setlists]]\nname = "Friday"\n', "# below the last\n")]


@pytest.mark.parametrize("heads", range(4))
def test_a_block_has_all_sections_below_its_head(heads: int) -> None:
    """However many routes have heads of their own, the block ends with the last one."""
    below = '[[scenes.routes]]\nfrom = "keys"\n' * heads
    text = f"[[scenes]]\nnumber = 1\n{below}[[scenes]]\nnumber = 2\n[[setlists]]\nname = 'Friday'\n"
    assert [said for _, said, _ in parts(text)] == [f"[[scenes]]\nnumber = 1\n{below}", "[[scenes]]\nnumber = 2\n"]
    assert Sheet(text).without(Sheet(text).blocks(("scenes",))[0]).startswith("[[scenes]]\nnumber = 2\n")


def test_comments_between_two_heads_belong_to_the_second() -> None:
    """Without an empty line between, what is above a head is said of it; at the end of the file, of the last one."""
    assert parts("[[scenes]]\na = 1\n# said\n[[scenes]]\na = 2\n# end") == [
        ("", "[[scenes]]\na = 1\n", ""),
        ("# said\n", "[[scenes]]\na = 2\n", "# end"),
    ]


def test_a_block_that_is_interrupted_is_refused_with_both_lines() -> None:
    """A section that continues a scene behind another section: the error names the line of each."""
    text = "[[scenes]]\na = 1\n\n[other]\nb = 1\n\n[[scenes.routes]]\nc = 1\n"
    with pytest.raises(EditError, match=r"^line 7 continues what begins in line 1, with another section between them"):
        Sheet(text).blocks(("scenes",))


def test_without_a_block_the_rest_stays() -> None:
    """The block goes with its comments and the empty lines above it; nothing else does."""
    sheet = Sheet(SHOW)
    first, second = sheet.blocks(("scenes",))
    assert sheet.without(first) == SHOW[: SHOW.index("\n# above the first")] + SHOW[first.end :]
    assert sheet.without(second) == SHOW[: first.end] + SHOW[second.end :]
    (last,) = sheet.blocks(("setlists",))
    assert sheet.without(last) == SHOW[: second.end]


def test_the_end_of_the_file_stays_as_it_was() -> None:
    """A file whose last line has no line end has none without its last block either."""
    text = "[[a]]\nb = 1\n\n[[a]]\nb = 2"
    sheet = Sheet(text)
    assert sheet.without(sheet.blocks(("a",))[1]) == "[[a]]\nb = 1"
    assert sheet.without(sheet.blocks(("a",))[0]) == "\n[[a]]\nb = 2"


def test_lines_and_places_are_found() -> None:
    """Lines count from 1; a value is where it is written, and a section has none."""
    sheet = Sheet(SHOW)
    assert sheet.line(("format",)) == 2
    assert sheet.line(("scenes", 0)) == 6
    assert sheet.line(("scenes", 1, "number")) == 15
    assert SHOW[slice(*sheet.value(("scenes", 0, "routes", 0, "from")))] == '"keys"'
    assert sheet.has_value(("scenes", 1, "burst", 0))
    assert not sheet.has_value(("scenes", 0, "routes"))
    assert sheet.has_key(("scenes", 0, "routes", 0, "from"))
    assert not sheet.has_key(("scenes", 0, "burst"))


# Keys


def test_a_key_is_added_after_the_last_one() -> None:
    """In a section on a line of its own, in a table on one line after a comma."""
    sheet = Sheet(SHOW)
    routes = SHOW.replace('from = "keys"   # behind\n', 'from = "keys"   # behind\nto = 3\n')
    assert sheet.with_pair(("scenes", 0, "routes", 0), "to", "3") == routes
    assert sheet.with_pair(("scenes", 0), "text", "3") == SHOW.replace("number = 1\n", "number = 1\ntext = 3\n")
    one = sheet.with_pair(("scenes", 1, "burst", 0), "channel", "3")
    assert one == SHOW.replace("{ program = 1 }", "{ program = 1, channel = 3 }")
    assert Sheet("a = {}\n").with_pair(("a",), "b", "1") == "a = { b = 1 }\n"
    assert Sheet("[a]\n[b]\nc = 1").with_pair(("a",), "d", "2") == "[a]\nd = 2\n[b]\nc = 1"
    assert Sheet("[a]\nb = 1").with_pair(("a",), "d", "2") == "[a]\nb = 1\nd = 2"


def test_a_key_is_taken_away_with_its_lines() -> None:
    """A value over several lines goes with all of them, and with the comment behind."""
    assert Sheet(SHOW).without_pair(("scenes", 1, "burst")) == SHOW.replace("burst = [\n  { program = 1 },\n]\n", "")
    assert Sheet("a = 1\nb = 2 # two\nc = 3\n").without_pair(("b",)) == "a = 1\nc = 3\n"


@pytest.mark.parametrize(
    ("key", "rest"), [("a", "{ b = [\n  2,\n], c = 3 }"), ("b", "{ a = 1, c = 3 }"), ("c", "{ a = 1, b = [\n  2,\n] }")]
)
def test_a_key_is_taken_out_of_a_table_on_one_line(key: str, rest: str) -> None:
    """Its comma goes with it, and what stays is as it was written."""
    sheet = Sheet("t = { a = 1, b = [\n  2,\n], c = 3 }\n")
    assert sheet.without_pair(("t", key)) == f"t = {rest}\n"
    assert Sheet("t = { a = 1 }\n").without_pair(("t", "a")) == "t = { }\n"


# Lists


@pytest.mark.parametrize(
    ("text", "index", "expected"),
    [
        ("a = [1, 2, 3]", 0, "a = [2, 3]"),
        ("a = [1, 2, 3]", 1, "a = [1, 3]"),
        ("a = [1, 2, 3]", 2, "a = [1, 2]"),
        ("a = [1]", 0, "a = []"),
        ("a = [1,]", 0, "a = []"),
        ("a = [ 1, 2 ]", 1, "a = [ 1 ]"),
        ("a = [\n  1,\n  2,\n  3,\n]", 0, "a = [\n  2,\n  3,\n]"),
        ("a = [\n  1,\n  2,   # two\n  3,\n]", 1, "a = [\n  1,\n  # two\n  3,\n]"),
        ("a = [\n  1,\n  2\n]", 1, "a = [\n  1\n]"),
        ("a = [\n  1, # one\n  2\n]", 1, "a = [\n  1 # one\n\n]"),
        ("a = [\n  1 # one\n  , 2\n]", 0, "a = [\n   # one\n   2\n]"),
        ("a = [1,\t2]", 0, "a = [2]"),
        ("a = [1, # one\n  2]", 0, "a = [# one\n  2]"),
    ],
)
def test_an_element_is_taken_out_of_a_list(text: str, index: int, expected: str) -> None:
    """The others stay as they are written, and so do all comments."""
    made = Sheet(text).without_element(("a",), index)
    assert made == expected
    values = tomllib.loads(text)["a"]
    assert tomllib.loads(made)["a"] == values[:index] + values[index + 1 :]


@pytest.mark.parametrize(
    ("text", "index", "lines", "expected"),
    [
        ("a = []", 0, False, "a = [9]"),
        ("a = []", 0, True, "a = [\n  9,\n]"),
        ("a = [\n]", 0, True, "a = [\n  9,\n]"),
        ("a = [\n  # none\n]", 0, False, "a = [\n  # none\n  9,\n]"),
        ("a = [1, 2]", 0, False, "a = [9, 1, 2]"),
        ("a = [1, 2]", 1, False, "a = [1, 9, 2]"),
        ("a = [1, 2]", 2, False, "a = [1, 2, 9]"),
        ("a = [1, 2,]", 2, False, "a = [1, 2, 9,]"),
        ("a = [\n  1,\n  2,\n]", 0, True, "a = [\n  9,\n  1,\n  2,\n]"),
        ("a = [\n  1,\n  2,\n]", 1, True, "a = [\n  1,\n  9,\n  2,\n]"),
        ("a = [\n  1,\n  2,   # two\n]", 2, True, "a = [\n  1,\n  2,   # two\n  9,\n]"),
        ("a = [\n  1,\n  2   # two\n]", 2, True, "a = [\n  1,\n  2,   # two\n  9,\n]"),
        ("a = [\n    1,\n    2\n]", 2, True, "a = [\n    1,\n    2,\n    9,\n]"),
    ],
)
def test_an_element_is_put_into_a_list(text: str, index: int, lines: bool, expected: str) -> None:
    """On a line of its own, with the indentation of its neighbour, if that has one; otherwise beside it."""
    made = Sheet(text).with_element(("a",), index, "9", lines=lines)
    assert made == expected
    values = tomllib.loads(text)["a"]
    assert tomllib.loads(made)["a"] == [*values[:index], 9, *values[index:]]


@given(st.lists(st.integers(0, 3), max_size=6), st.lists(st.integers(0, 3), max_size=6))
def test_the_steps_lead_from_one_list_to_the_other(olds: list[int], news: list[int]) -> None:
    """Carried out in their order, the steps make the new list of the old one; where nothing differs there are none."""
    made = list(olds)
    steps = changes(olds, news)
    for what, old, new in steps:
        if what == "put":
            assert olds[old] != news[new]
            made[old] = news[new]
        elif what == "add":
            made.insert(old, news[new])
        else:
            del made[old]
    assert made == news
    assert len(steps) <= len(olds) + len(news)
    assert olds != news or not steps


def test_what_stays_is_not_touched() -> None:
    """An element that is changed is put in its place; one that is missing or new costs one step."""
    assert changes([1, 2, 3], [1, 9, 3]) == [("put", 1, 1)]
    assert changes([1, 2, 3], [1, 3]) == [("drop", 1, 0)]
    assert changes([1, 3], [1, 2, 3]) == [("add", 1, 1)]
    assert changes([1], [8, 9]) == [("add", 1, 1), ("put", 0, 0)]
    assert changes([[1], {"a": 2}], [[1], {"a": 2}]) == []


# Writing


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (True, "true"),
        (False, "false"),
        (7, "7"),
        (1.5, "1.5"),
        ('say "so"\n', '"say \\"so\\"\\n"'),
        ([1, [2]], "[1, [2]]"),
        ((), "[]"),
        ({}, "{}"),
        ({"a": 1, "b c": None, "d e": {"f": [True]}}, '{ a = 1, "d e" = { f = [true] } }'),
    ],
)
def test_values_are_written_as_toml(value: object, written: str) -> None:
    """Each on one line; what is None is left out of a table."""
    assert toml(value) == written


@pytest.mark.parametrize("value", [b"\x00", None, {1, 2}])
def test_what_toml_cannot_hold_is_refused(value: object) -> None:
    """The error names the value and what to give instead."""
    with pytest.raises(EditError, match=re.escape(f"a rig file cannot hold {value!r}; give text, numbers")):
        toml(value)


def test_a_table_has_a_line_for_each_key() -> None:
    """Equals signs stand below each other; long lists and those asked for have a line for each element."""
    assert table("[a]", {"name": 1, "to": [1, 2], "no": None}) == "[a]\nname = 1\nto   = [1, 2]\n"
    assert table("[a]", {"b": [1, 2]}, by_line=("b",)) == "[a]\nb = [\n  1,\n  2,\n]\n"
    exactly = ["x" * 46, "x" * 46]
    assert len(toml(exactly)) == 100
    assert table("[a]", {"b": exactly}).count("\n") == 2
    assert table("[a]", {"b": ["x" * 47, "x" * 46]}).count("\n") == 5
    assert table("[a]", {}) == "[a]\n"
    assert listed([]) == "[]"


def test_lines_are_inserted_whole() -> None:
    """At the end of a text without a last line end, the inserted lines have none at their end either."""
    assert insert_lines("a\nb", 2, "c\n") == "a\nc\nb"
    assert insert_lines("a\nb", 3, "c\n") == "a\nb\nc"
    assert insert_lines("a\nb\n", 4, "c\n") == "a\nb\nc\n"
    assert insert_lines("", 0, "c\n") == "c\n"

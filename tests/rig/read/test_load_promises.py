"""What is true of every rig file, good or bad."""

import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.rig.read.load import RigError, RigProblem, read
from engine.rig.read.toml_layout import lines_of
from tests.support.plain_rig import RIG
from tests.support.random_rig_files import rig_texts


@settings(max_examples=60)
@given(rig_texts())
def test_every_valid_rig_loads(text: str) -> None:
    """A rig made by the rules of the rig file loads (README: the rig file)."""
    data = tomllib.loads(text)
    rig = read(text, "any.toml")
    assert [scene.number for scene in rig.scenes] == [scene["number"] for scene in data["scenes"]]
    assert [len(scene.routes) for scene in rig.scenes] == [len(scene["routes"]) for scene in data["scenes"]]


def _problems(text: str) -> tuple[RigProblem, ...] | None:
    try:
        read(text, "any.toml")
    except RigError as refusal:
        return refusal.problems
    return None


def _attempt(text: str) -> None:
    """Read the text; if it is rejected, each sentence must name the file and one of its lines."""
    problems = _problems(text)
    assert problems != ()
    assert all(1 <= problem.line <= text.count("\n") + 1 for problem in problems or ())
    assert all(str(problem).startswith(f"any.toml:{problem.line}: ") for problem in problems or ())


@settings(max_examples=150)
@given(st.data())
def test_no_damage_to_the_text_gives_anything_but_a_refusal(data: st.DataObject) -> None:
    """With text cut out, inserted or doubled anywhere, the rig loads or is rejected by line; nothing else happens."""
    text = RIG
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(len(text), start + 30)))
        put_in = data.draw(st.one_of(st.text(max_size=5), st.sampled_from(['"', "[", "]", "{", "}", "=", ",", "\n"])))
        text = text[:start] + put_in + text[end:]
    _attempt(text)


@settings(max_examples=150)
@given(st.data())
def test_no_value_in_any_place_gives_anything_but_a_refusal(data: st.DataObject) -> None:
    """With any value in place of any other, the rig loads or is rejected by line, and nothing else happens."""
    lines = RIG.split("\n")
    place = data.draw(st.sampled_from([at for at, line in enumerate(lines) if " = " in line and line[0].isalpha()]))
    value = data.draw(
        st.sampled_from(["0", "-1", "1.5", "nan", "true", '""', '"x"', "[]", "{}", "[1, 'a']", "{ a = 1 }", "[[1]]"])
        | st.sampled_from(["1979-05-27", "07:32:00", "[{}]", "[{ filter = {} }]", "{ program = [] }", "9" * 30])
    )
    lines[place] = lines[place].partition(" = ")[0] + " = " + value
    _attempt("\n".join(lines))


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    pairs = list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())
    return [inner for key, item in pairs for inner in [(*path, key), *_paths(item, (*path, key))]]


@settings(max_examples=60)
@given(rig_texts())
def test_every_key_and_element_has_a_line(text: str) -> None:
    """Everything that tomllib finds in a file has a known line."""
    assert set(_paths(tomllib.loads(text))) == set(lines_of(text))

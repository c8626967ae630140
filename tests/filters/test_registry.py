"""Filters from other packages: found by their entry point, checked against the contract, distinguished by name."""

import subprocess
import sys
import tomllib
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path
from shutil import copy
from typing import Any

import pytest

from filters.registry import BUILT_IN, ENTRY_POINT_GROUP, FilterFault, collect
from tests.support.filter_bench import PlainSurroundings
from tests.support.paths import ROOT

PACKAGE = ROOT / "tests" / "plugin_package"

GOOD = '''"""A test tone."""
from typing import Literal
from filters.registry import FilterSettings
class Settings(FilterSettings):
    filter: Literal["tone"]
def build(settings):
    return lambda message, now: (message,)
'''

# A rig that uses the plug-in, compiled as the program does it: in its own process, for the registry is made only once.
PLAY = """
import tomllib
from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.rig.models.rig import rig_model
from filters.registry import registry

rig = rig_model().model_validate(tomllib.loads('''
format = 1
[inputs]
keys = { port = "Keys" }
[outputs]
strings = { port = "Strings" }
[[scenes]]
number = 1
name = "Duet"
routes = [{ from = "keys", to = "strings", through = [
  { filter = "octaves" },
  { filter = "transpose", semitones = -12 },
] }]
'''))
playing = Engine(compile_rig(rig))
playing.apply(0, RecallScene(1))
print(registry()["octaves"].hears)
print(*(message.hex(" ").upper() for _, message, _ in playing.receive(0, 0, bytes.fromhex("903C40"))), sep=", ")
"""


def install(package: Path, site: Path) -> None:
    """Put a package of modules where Python finds it, with the metadata an installer writes, without a network."""
    project = tomllib.loads((package / "pyproject.toml").read_text(encoding="utf-8"))
    about = project["project"]
    for module in project["tool"]["setuptools"]["py-modules"]:
        copy(package / f"{module}.py", site)
    metadata = site / f"{about['name'].replace('-', '_')}-{about['version']}.dist-info"
    metadata.mkdir()
    (metadata / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {about['name']}\nVersion: {about['version']}\n")
    entries = about["entry-points"][ENTRY_POINT_GROUP]
    lines = [f"[{ENTRY_POINT_GROUP}]", *(f"{name} = {module}" for name, module in entries.items())]
    (metadata / "entry_points.txt").write_text("\n".join(lines) + "\n")


def test_an_installed_package_adds_its_filter(tmp_path: Path) -> None:
    """A rig may use the filter of an installed package like a built-in one, in a chain with it."""
    install(PACKAGE, tmp_path)
    python_path = f"import sys; sys.path[:0] = [{str(tmp_path)!r}, {str(ROOT)!r}]\n"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", python_path + PLAY], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["Every note sounds together with its octave above.", "90 30 40, 90 3C 40"]


@pytest.fixture
def fault_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """The fault reported for a plug-in module with this text, entered as the filter "tone" or under another name."""
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "tone_module", raising=False)

    def fault_of(text: str, name: str = "tone") -> str:
        (tmp_path / "tone_module.py").write_text(text)
        with pytest.raises(FilterFault) as caught:
            collect([EntryPoint(name, "tone_module", ENTRY_POINT_GROUP)])
        return str(caught.value)

    return fault_of


def test_a_plug_in_stands_beside_the_built_in_filters(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A module that keeps the contract is collected with all built-in filters."""
    monkeypatch.syspath_prepend(str(tmp_path))
    (tmp_path / "good_tone.py").write_text(GOOD)
    found = collect([EntryPoint("tone", "good_tone", ENTRY_POINT_GROUP)])
    assert set(found) == {*BUILT_IN, "tone"}
    assert found["tone"].hears == "A test tone."
    settings = found["tone"].settings(filter="tone")
    assert not found["tone"].keeps_state(settings)
    assert found["tone"].build(settings, PlainSurroundings())(b"\xf8", 0) == (b"\xf8",)


def test_a_plug_in_may_ask_for_the_tempo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A build with two arguments gets the settings, and what it may ask of the show."""
    monkeypatch.syspath_prepend(str(tmp_path))
    counting = GOOD.replace("(settings)", "(settings, around)").replace(
        "(message,)", "(bytes((int(around.tempo(now)),)),)"
    )
    (tmp_path / "counting_tone.py").write_text(counting)
    tone = collect([EntryPoint("tone", "counting_tone", ENTRY_POINT_GROUP)])["tone"]
    surroundings = PlainSurroundings(90)
    step = tone.build(tone.settings(filter="tone"), surroundings)
    before = step(b"\xf8", 0)
    surroundings.bpm = 96
    assert [*before, *step(b"\xf8", 6)] == [b"\x5a", b"\x60"]


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ('"""A test tone."""\n', "class Settings that derives from"),
        (GOOD.replace("class Settings(FilterSettings)", "class Settings"), "class Settings that derives from"),
        (GOOD.replace('Literal["tone"]', 'Literal["noise"]'), 'the field filter: Literal["tone"]'),
        (GOOD.replace('    filter: Literal["tone"]', "    pass"), 'the field filter: Literal["tone"]'),
        (GOOD.replace("def build(settings)", "def build()"), "a function build(settings)"),
        (GOOD.replace("def build(settings)", "def build(a, b, c)"), "or build(settings, surroundings)"),
        (GOOD.replace("def build", "def make"), "a function build(settings)"),
        (GOOD.replace("def build", "build = dict\ndef make"), "a function build(settings)"),
        (GOOD.replace("A test tone.", " "), "docstring must say what the player hears"),
        (GOOD.replace('"""A test tone."""', ""), "docstring must say what the player hears"),
        (GOOD + "KEEPS_STATE = 'yes'\n", "KEEPS_STATE must be True or False"),
        (GOOD + "PASSES_LATER = 1\n", "PASSES_LATER must be True or False"),
        (GOOD + "KEEPS_TIME = 1\n", "KEEPS_TIME must be True or False"),
        (GOOD + "keeps_state = True\n", "a function keeps_state(settings)"),
        (GOOD + "KEEPS_STATE = True\ndef keeps_state(settings): return True\n", "not both"),
        ("import a_module_that_is_not_there", "it cannot be imported: No module named"),
        ("1 / 0", "it cannot be imported: division by zero"),
    ],
)
def test_a_broken_plug_in_is_named_with_its_fault(fault_of: Callable[..., Any], broken: str, said: str) -> None:
    """A module that breaks the contract is refused in a sentence that names filter, module and fault."""
    fault = fault_of(broken)
    assert fault.startswith("filter 'tone' (")
    assert "tone_module" in fault
    assert said in fault


def test_a_filter_that_cannot_be_built_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A build that fails on valid settings is reported with the filter's name, whatever it raised."""
    monkeypatch.syspath_prepend(str(tmp_path))
    (tmp_path / "unbuilt_tone.py").write_text(GOOD.replace("    return lambda message, now: (message,)", "    1 / 0"))
    tone = collect([EntryPoint("tone", "unbuilt_tone", ENTRY_POINT_GROUP)])["tone"]
    with pytest.raises(FilterFault, match=r"^filter 'tone' \(.*unbuilt_tone.*it cannot be built: division by zero$"):
        tone.build(tone.settings(filter="tone"), PlainSurroundings())


def test_a_name_is_given_once(fault_of: Callable[..., Any], tmp_path: Path) -> None:
    """A plug-in may take neither the name of a built-in filter nor that of another plug-in."""
    text = GOOD.replace('"tone"', '"velocity"')
    assert fault_of(text, "velocity") == "filter 'velocity' (tone_module): there is already a filter of that name"
    (tmp_path / "good_tone.py").write_text(GOOD)
    twice = [EntryPoint("tone", "good_tone", ENTRY_POINT_GROUP)] * 2
    with pytest.raises(FilterFault, match="there is already a filter of that name"):
        collect(twice)

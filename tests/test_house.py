"""The house rules that tools can check: types, style, the direction of imports, and that modules say what they hold."""

import ast
import re
import subprocess
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import grimp
import pytest

from tests.support.paths import ROOT


@pytest.mark.parametrize(
    "command",
    [
        ("mypy",),
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("lint-imports",),
    ],
    ids=lambda command: " ".join(command),
)
def test_house_rules(command: tuple[str, ...]) -> None:
    """mypy strict, ruff and import-linter find nothing."""
    tool, *arguments = command
    program = Path(sys.executable).parent / tool
    done = subprocess.run([program, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _sources() -> list[Path]:
    return sorted(file for house in ("engine", "filters") for file in (ROOT / house).rglob("*.py"))


def _name(file: Path) -> str:
    return str(file.relative_to(ROOT))


def test_every_module_says_first_what_it_holds() -> None:
    """Each module and each folder of modules begins with a sentence, so that readers need not guess from a name."""
    mute = []
    for file in _sources():
        text = ast.get_docstring(ast.parse(file.read_text())) or ""
        if not re.match(r'["`A-Z`][^\n]*(\n[^\n]+)*?[.:]', text):
            mute.append(f"{_name(file)}: {text.partition(chr(10))[0]!r}")
    assert mute == []


def test_every_folder_is_a_package() -> None:
    """Every folder with modules has an `__init__.py` that holds the folder's sentence."""
    folders = {file.parent for file in _sources()}
    assert [_name(folder) for folder in sorted(folders) if not (folder / "__init__.py").is_file()] == []


def _named(module: ast.Module) -> Iterator[str]:
    """All names that a module uses, and those in its strings that are names, as types may be."""
    for node in ast.walk(module):
        match node:
            case ast.Name(id=name, ctx=ast.Load()) | ast.Attribute(attr=name) | ast.alias(name=name):
                yield name
            case ast.Constant(value=str(text)) if re.fullmatch(r"[\w.]+", text):
                yield from text.split(".")


def _defined(module: ast.Module) -> Iterator[str]:
    for node in module.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.decorator_list:
            yield node.name
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield from (one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name))


def test_nothing_is_there_for_the_tests_alone() -> None:
    """Each function, class and constant of a module is used in the engine or the filters."""
    modules = {file: ast.parse(file.read_text(encoding="utf-8")) for file in _sources()}
    named = {name for module in modules.values() for name in _named(module)}
    idle = [
        f"{_name(file)}: {name}"
        for file, module in modules.items()
        if file.parent != ROOT / "engine" / "cli" / "commands"  # loaded by the names of the commands
        for name in _defined(module)
        if name not in named and not name.startswith("__")
    ]
    assert idle == []


#: each filter's module has a `Settings`: the registry finds it by this name, and no module imports it by name
_IN_EVERY_FILTER = "Settings"


def test_public_class_names_are_unique() -> None:
    """No two modules of engine and filters have a public class of the same name: one word has one meaning."""
    found: dict[str, list[str]] = defaultdict(list)
    for file in _sources():
        for node in ast.parse(file.read_text()).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found[node.name].append(_name(file))
    of_filters = found.pop(_IN_EVERY_FILTER)
    assert all(Path(file).parent == Path("filters") for file in of_filters)
    assert {name: files for name, files in found.items() if len(files) > 1} == {}


def test_every_part_of_the_house_has_its_place() -> None:
    """The import contract names each folder and module of engine, so that a new one is not exempt."""
    linter = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    (layers,) = (each["layers"] for each in linter["contracts"] if each["name"] == "Imports point downwards")
    placed = {part.strip() for layer in layers for part in layer.split("|")}
    parts = {f"engine.{each.stem}" for each in (ROOT / "engine").iterdir() if _holds_modules(each)}
    assert parts - placed - _NOT_IMPORTED == set()
    assert placed <= parts | {"filters"}


#: run as a program, before anything is installed
_NOT_IMPORTED = {"engine.install", "engine.build_backend"}


def _holds_modules(path: Path) -> bool:
    return (path / "__init__.py").is_file() or (path.suffix == ".py" and path.stem != "__init__")


def test_no_import_goes_in_a_circle() -> None:
    """No module of engine and filters imports itself by way of others, except for names that only types need."""
    graph = grimp.build_graph("engine", "filters", cache_dir=None, exclude_type_checking_imports=True)
    done: set[str] = set()

    def follow(module: str, way: tuple[str, ...]) -> None:
        assert module not in way, " -> ".join((*way[way.index(module) :], module))
        if module not in done:
            for imported in sorted(graph.find_modules_directly_imported_by(module)):
                follow(imported, (*way, module))
            done.add(module)

    for module in sorted(graph.modules):
        follow(module, ())


def test_every_file_that_the_contributors_page_names_exists() -> None:
    """Every file or folder that DEVELOPERS.md names exists."""
    named = set(
        re.findall(r"`((?:engine|filters|presets|tests|bench)/[\w./-]+)`", (ROOT / "DEVELOPERS.md").read_text())
    )
    assert named
    assert sorted(name for name in named if "NAME" not in name and not (ROOT / name).exists()) == []

"""The build backend: what is compiled, when, and what becomes of a build that fails. (Our own promises: README.)"""

import ast
import sysconfig
from pathlib import Path

import pytest
from setuptools import build_meta

from engine import build_backend
from tests.support.paths import ROOT

COMPILER = build_backend.compiler()


@pytest.mark.parametrize("file", build_backend.modules())
def test_what_is_compiled_holds_no_model(file: str) -> None:
    """Each module that is named exists, and imports no pydantic, whose models cannot be compiled."""
    imported = {
        name
        for node in ast.walk(ast.parse((ROOT / file).read_text()))
        for name in ([node.module or ""] if isinstance(node, ast.ImportFrom) else [])
    }
    assert "pydantic" not in imported


def test_every_step_is_compiled() -> None:
    """All of `filters/steps` is."""
    steps = {str(file.relative_to(ROOT)) for file in (ROOT / "filters" / "steps").glob("[!_]*.py")}
    assert steps <= set(build_backend.modules())


@pytest.mark.parametrize(
    ("choice", "lacks", "compiles"),
    [(None, None, True), ("", None, True), ("pure", None, False), ("compiled", None, True), ("", "no compiler", False)],
)
def test_when_it_compiles(
    monkeypatch: pytest.MonkeyPatch, choice: str | None, lacks: str | None, compiles: bool
) -> None:
    """With a C compiler unless BAYLEAF_BUILD says pure; only then is the compiler of modules required."""
    if choice is None:
        monkeypatch.delenv("BAYLEAF_BUILD", raising=False)
    else:
        monkeypatch.setenv("BAYLEAF_BUILD", choice)
    monkeypatch.setattr(build_backend, "lacking", lambda: lacks)
    monkeypatch.setattr(build_meta, "get_requires_for_build_wheel", lambda settings: ["wheel"])
    assert (COMPILER in build_backend.get_requires_for_build_wheel()) == compiles


def test_a_compiled_build_is_not_made_without_a_compiler(monkeypatch: pytest.MonkeyPatch) -> None:
    """If it must be compiled and cannot, the reason is said."""
    monkeypatch.setenv("BAYLEAF_BUILD", "compiled")
    monkeypatch.setattr(build_backend, "lacking", lambda: "there is no C compiler (cc)")
    monkeypatch.setattr(build_meta, "get_requires_for_build_wheel", lambda settings: ["wheel"])
    with pytest.raises(SystemExit, match=r"BAYLEAF_BUILD=compiled: there is no C compiler \(cc\)"):
        build_backend.get_requires_for_build_wheel()


def test_what_is_lacking(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A compiler that is not there, and headers that it does not find."""
    monkeypatch.setattr(sysconfig, "get_config_var", lambda name: f"{tmp_path}/cc -pthread")
    assert build_backend.lacking() == f"there is no C compiler ({tmp_path}/cc)"
    (tmp_path / "cc").write_text("#!/bin/sh\nexit 1\n")
    (tmp_path / "cc").chmod(0o755)
    assert build_backend.lacking() == "the C compiler does not find Python.h (python3-dev)"
    (tmp_path / "cc").write_text("#!/bin/sh\nexit 0\n")
    assert build_backend.lacking() is None


@pytest.mark.parametrize(("choice", "compiles"), [("", False), ("pure", False), ("compiled", True)])
def test_an_editable_installation_is_compiled_only_if_asked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, choice: str, compiles: bool
) -> None:
    """What was compiled beside the source would hide every later edit, so it is removed as well."""
    suffix = sysconfig.get_config_var("EXT_SUFFIX")
    (tmp_path / "core").mkdir()
    shared, module, other = (tmp_path / f"{name}{suffix}" for name in ("0a1b__mypyc", "core/engine", "core/native"))
    for file in (shared, module, other):
        file.touch()
    monkeypatch.setenv("BAYLEAF_BUILD", choice)
    monkeypatch.setattr(build_backend, "compiler", lambda: COMPILER)
    monkeypatch.setattr(build_backend, "_ROOT", tmp_path)
    monkeypatch.setattr(build_backend, "modules", lambda: ["core/engine.py"])
    monkeypatch.setattr(build_backend, "lacking", lambda: None)
    monkeypatch.setattr(build_backend.CompilingBuild, "compiles", False)
    monkeypatch.setattr(build_meta, "get_requires_for_build_editable", lambda settings: [])
    monkeypatch.setattr(build_meta, "build_editable", lambda *_: "bayleaf.whl")
    assert (COMPILER in build_backend.get_requires_for_build_editable()) == compiles
    assert build_backend.build_editable(str(tmp_path)) == "bayleaf.whl"
    assert build_backend.CompilingBuild.compiles == compiles
    assert (shared.exists(), module.exists(), other.exists()) == (False, False, True)


@pytest.mark.parametrize("choice", ["", "compiled"])
def test_a_build_that_fails_is_made_again_without_the_compiler(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str], choice: str
) -> None:
    """Unless it must be compiled; nothing that the first attempt has left is packed."""
    compiled: list[bool] = []
    built = tmp_path / "build"

    def build(*_: object) -> str:
        assert not built.exists()
        built.mkdir()
        compiled.append(build_backend.CompilingBuild.compiles)
        if compiled[-1]:
            raise SystemExit("error: command 'cc' failed")
        return "bayleaf.whl"

    built.mkdir()
    monkeypatch.setenv("BAYLEAF_BUILD", choice)
    monkeypatch.setattr(build_backend, "lacking", lambda: None)
    monkeypatch.setattr(build_backend, "_BUILT", built)
    monkeypatch.setattr(build_backend.CompilingBuild, "compiles", False)
    monkeypatch.setattr(build_meta, "build_wheel", build)
    if choice == "compiled":
        with pytest.raises(SystemExit, match="'cc' failed"):
            build_backend.build_wheel(str(tmp_path))
        assert compiled == [True]
    else:
        assert build_backend.build_wheel(str(tmp_path)) == "bayleaf.whl"
        assert compiled == [True, False]
        assert "could not be compiled: error: command 'cc' failed" in capsys.readouterr().err

"""Builds Bayleaf with setuptools, and compiles the way of a message ahead of time (mypyc) where a C compiler is found.

`pyproject.toml` names this module as the build backend, the modules that are compiled in `[tool.bayleaf]`, and what is
written in C in `[[tool.setuptools.ext-modules]]`. The environment variable BAYLEAF_BUILD decides otherwise: `pure`
compiles no module, and `compiled` fails where they cannot be compiled. An editable installation is compiled for
`compiled` alone, since what was compiled hides every later edit.
"""

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import tomllib
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

from setuptools import build_meta
from setuptools.build_meta import (
    build_sdist,
    get_requires_for_build_sdist,
    prepare_metadata_for_build_editable,
    prepare_metadata_for_build_wheel,
)
from setuptools.command.build_ext import build_ext

__all__ = [
    "build_editable",
    "build_sdist",
    "build_wheel",
    "get_requires_for_build_editable",
    "get_requires_for_build_sdist",
    "get_requires_for_build_wheel",
    "prepare_metadata_for_build_editable",
    "prepare_metadata_for_build_wheel",
]

_ROOT: Final = Path(__file__).resolve().parent.parent
_BUILT: Final = _ROOT / "build"  # where setuptools collects what goes into a wheel
_CHOICE: Final = "BAYLEAF_BUILD"
_EFFORT: Final = "1"  # of the C compiler: 2 takes twice as long, and what it makes is not measurably faster
#: mypy need not see the libraries here; what it then misunderstands in modules that are not compiled does not matter
_OPTIONS: Final = """[mypy]
ignore_missing_imports = True
no_site_packages = True
ignore_errors = True
[mypy-{}]
ignore_errors = False
"""

Settings = Mapping[str, Any] | None


class CompilingBuild(build_ext):
    """Builds the parts in C, and the compiled modules if `compiles` was set."""

    compiles = False

    def finalize_options(self) -> None:
        """Add the compiled modules to what is built."""
        if self.compiles:
            from mypyc.build import mypycify  # here, since a build without it does not require it

            with tempfile.TemporaryDirectory() as folder:
                options = Path(folder, "mypy.ini")
                names = (file.removesuffix(".py").replace("/", ".") for file in modules())
                options.write_text(_OPTIONS.format(",".join(names)))
                asked = ["--config-file", str(options), *modules()]
                made = mypycify(asked, opt_level=_EFFORT, debug_level="0", multi_file=True)
            self.distribution.ext_modules = [*(self.distribution.ext_modules or ()), *made]
        super().finalize_options()

    def build_extensions(self) -> None:
        """Compile as many files at once as there are processors."""
        compile_these = self.compiler.compile

        def at_once(sources: list[str], **options: Any) -> list[str]:
            with ThreadPoolExecutor(os.cpu_count()) as pool:
                made = pool.map(lambda source: compile_these([source], **options), sources)
                return [each for several in made for each in several]

        self.compiler.compile = at_once
        super().build_extensions()


def _settings() -> dict[str, Any]:
    return tomllib.loads((_ROOT / "pyproject.toml").read_text())


def compiler() -> str:
    """The compiler of modules as a requirement: the mypy that checks the types."""
    return next(each for each in _settings()["project"]["optional-dependencies"]["dev"] if each.startswith("mypy=="))


def modules() -> list[str]:
    """The files that are compiled, relative to the folder of the project."""
    named = (path for pattern in _settings()["tool"]["bayleaf"]["compiled"] for path in _ROOT.glob(pattern))
    return sorted(path.relative_to(_ROOT).as_posix() for path in named)


def lacking() -> str | None:
    """What there is not to compile with, in words; None if a C compiler finds Python's headers."""
    compiler = (sysconfig.get_config_var("CC") or "cc").split()
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "probe.c")
        source.write_text("#include <Python.h>\n")
        include = f"-I{sysconfig.get_path('include')}"
        try:
            done = subprocess.run([*compiler, include, "-fsyntax-only", str(source)], capture_output=True, check=False)
        except OSError:
            return f"there is no C compiler ({compiler[0]})"
    return None if done.returncode == 0 else "the C compiler does not find Python.h (python3-dev)"


def _compiles(choice: str) -> bool:
    """Whether modules are compiled. Raises SystemExit if they must be and cannot."""
    if choice == "pure":
        return False
    lacks = lacking()
    if lacks and choice == "compiled":
        raise SystemExit(f"{_CHOICE}=compiled: {lacks}")
    return lacks is None


def _choice() -> str:
    return os.environ.get(_CHOICE, "")


def get_requires_for_build_wheel(config_settings: Settings = None) -> list[str]:
    """What setuptools needs, and the compiler of modules if it is needed."""
    return build_meta.get_requires_for_build_wheel(config_settings) + [compiler()] * _compiles(_choice())


def get_requires_for_build_editable(config_settings: Settings = None) -> list[str]:
    """The same of an editable installation."""
    return build_meta.get_requires_for_build_editable(config_settings) + [compiler()] * _compiles(_choice() or "pure")


def build_wheel(wheel_directory: str, config_settings: Settings = None, metadata_directory: str | None = None) -> str:
    """The name of the wheel that was built: compiled if that is possible and wanted, otherwise as the source is."""
    CompilingBuild.compiles = _compiles(_choice())
    shutil.rmtree(_BUILT, ignore_errors=True)  # setuptools would pack what an earlier build of the other kind has left
    try:
        return build_meta.build_wheel(wheel_directory, config_settings, metadata_directory)
    except (Exception, SystemExit) as fault:
        if not CompilingBuild.compiles or _choice() == "compiled":
            raise
        print(f"The modules could not be compiled: {fault}", file=sys.stderr)
    CompilingBuild.compiles = False
    shutil.rmtree(_BUILT, ignore_errors=True)
    return build_meta.build_wheel(wheel_directory, config_settings, metadata_directory)


def build_editable(
    wheel_directory: str, config_settings: Settings = None, metadata_directory: str | None = None
) -> str:
    """The name of the wheel that points to the source, beside which nothing remains that was compiled earlier."""
    suffix = sysconfig.get_config_var("EXT_SUFFIX")
    for made in (_ROOT / file.removesuffix(".py") for file in modules()):
        made.with_name(made.name + suffix).unlink(missing_ok=True)
    for shared in _ROOT.glob(f"*__mypyc{suffix}"):
        shared.unlink()
    CompilingBuild.compiles = _compiles(_choice() or "pure")
    return build_meta.build_editable(wheel_directory, config_settings, metadata_directory)

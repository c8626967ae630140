"""The `bayleaf` command run in the test's own process: its result, and the fixture's type."""

import subprocess
from collections.abc import Callable, Mapping
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import Final, NamedTuple

import pytest

from engine.cli.app import main
from tests.support.paths import BAYLEAF

#: these change the process that they serve in
_SERVING: Final = ("run", "panel", "lend")
_WITHIN: Final = 60  # seconds


class Said(NamedTuple):
    """Exit status, standard output and standard error of a command."""

    status: int
    out: str
    err: str


Bayleaf = Callable[..., Said]  # takes the words of the command, text or paths


def completed(environment: Mapping[str, str], folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """What comes of a command in this environment and folder. It is run here, since a process of its own takes much
    longer to start than to do what it is asked; only one that serves gets one."""
    if words[0] in _SERVING:
        command = [str(BAYLEAF), *words]
        return subprocess.run(
            command, env=environment, cwd=folder, capture_output=True, text=True, timeout=_WITHIN, check=False
        )
    said, failed, status = BytesIO(), BytesIO(), 0
    out, err = (TextIOWrapper(each, encoding="utf-8", write_through=True) for each in (said, failed))
    with pytest.MonkeyPatch.context() as patch, chdir(folder), redirect_stdout(out), redirect_stderr(err):
        for name, value in environment.items():
            patch.setenv(name, value)
        patch.setattr("sys.argv", ["bayleaf", *words])
        try:
            main()
        except SystemExit as ended:
            status = int(ended.code or 0)
    return subprocess.CompletedProcess(words, status, said.getvalue().decode(), failed.getvalue().decode())

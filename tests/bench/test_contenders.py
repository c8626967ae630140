"""A contender that ends by itself, or does nothing, is an error that names it. No outside source."""

import signal
import sys
from pathlib import Path

import pytest

from bench import __main__ as bench
from bench.contenders import Failed, at_rest, contender
from tests.support.waiting import until


def _python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def _plays_until_it_ends(code: str, folder: Path) -> None:
    with contender("the script", _python(code), folder) as process:
        process.wait()
        raise ZeroDivisionError


def test_one_that_ends_at_once_is_named_with_the_end_of_its_output(tmp_path: Path) -> None:
    """Whatever else failed because it was gone."""
    with pytest.raises(Failed) as raised:
        _plays_until_it_ends("print(*range(100), sep='\\n'); raise SystemExit('no port is left')", tmp_path)
    text = str(raised.value)
    assert text.startswith("the script ended by itself, with status 1; the end of its output:\n")
    assert text.endswith("    99\n    no port is left")
    assert "    80" not in text


def test_one_that_says_nothing(tmp_path: Path) -> None:
    """The error says so."""
    with pytest.raises(Failed, match=r"with status 3; it said nothing$"):
        _plays_until_it_ends("raise SystemExit(3)", tmp_path)


def test_one_that_plays_on_is_ended(tmp_path: Path) -> None:
    """That is no error."""
    with contender("the script", _python("import time; time.sleep(60)"), tmp_path) as process:
        assert process.poll() is None
    assert process.returncode is not None


def _rests_stopped(folder: Path) -> None:
    """It is stopped while it is measured, as if it hung."""
    with contender("the script", _python("import time; print('up', flush=True); time.sleep(60)"), folder) as process:
        until("its start", lambda: (folder / "said.txt").read_text() == "up\n")
        process.send_signal(signal.SIGSTOP)
        until("its halt", lambda: ") T " in Path(f"/proc/{process.pid}/stat").read_text())
        try:
            at_rest("the script", process.pid, folder, 0.2)
        finally:
            process.send_signal(signal.SIGCONT)


def test_one_that_does_nothing_is_not_a_row_of_zeros(tmp_path: Path) -> None:
    """The error names it."""
    with pytest.raises(Failed, match=r"^the script did nothing for 0.2 s"):
        _rests_stopped(tmp_path)


def test_the_command_reports_it_and_keeps_the_earlier_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 1; the part is named."""

    def fails(name: str, quick: bool) -> dict[str, object]:
        raise Failed("the script", "ended by itself, with status 1", tmp_path)

    (tmp_path / "said.txt").write_text("no port is left\n")
    monkeypatch.setattr(bench, "measure", fails)
    monkeypatch.setattr(bench, "write_page", lambda folder, results: None)
    monkeypatch.setattr(sys, "argv", ["bench", "--part", "onjack", "--out", str(tmp_path)])
    with pytest.raises(SystemExit) as ended:
        bench.main()
    assert ended.value.code == 1
    said = capsys.readouterr().err
    assert "part onjack was not measured: the script ended by itself, with status 1; the end of its output:" in said
    assert said.endswith("    no port is left\n")

"""How tables are printed."""

import pytest

from engine.cli.output import table

COLUMNS = ("when", "scene", "recalled by", "ready after")
ROWS = [("0:03.000, bar 2:3", "12 Street at night", "pedals, channel 1 program 12", None)]


def test_a_wide_screen_has_a_table(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """On a wide screen columns are side by side, and a title longer than the table is not broken."""
    monkeypatch.setenv("COLUMNS", "80")
    title = "What each scene sends, and when its instruments are ready"
    table(("no.", "scene"), [(11, "Overture")], title=title)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].rstrip() == title
    assert any("11" in line and "Overture" in line for line in lines)


def test_a_narrow_screen_has_no_broken_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a table would break its words, each row becomes a list; cells that are empty are left out."""
    monkeypatch.setenv("COLUMNS", "32")
    table(COLUMNS, ROWS)
    assert capsys.readouterr().out == (
        "when: 0:03.000, bar 2:3\nscene: 12 Street at night\nrecalled by: pedals, channel 1 \nprogram 12\n\n"
    )

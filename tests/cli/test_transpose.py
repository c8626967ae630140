"""`bayleaf transpose`."""

import pytest
from typer.testing import CliRunner

from engine.cli.app import app
from engine.live.socket import client


@pytest.mark.parametrize("step", [-1, 0, 2])
def test_a_step_down_is_a_number_not_an_option(step: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The handbook's page on set lists has `bayleaf transpose -1`."""
    asked: list[object] = []

    def ask(*words: object) -> dict[str, object]:
        asked.extend(words)
        return {"done": True, "do": "transpose", "text": "transposed", "burst_bytes": 0, "held": 0}

    monkeypatch.setattr(client, "ask", ask)
    assert CliRunner().invoke(app, ["transpose", str(step)]).exit_code == 0
    assert {"do": "transpose", "step": step} in asked

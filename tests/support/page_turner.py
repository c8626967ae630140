"""An engine for page-turn pedals. In the guest it takes long to start, so it begins before all tests there."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from tests.support.engine_process import Engine

#: the pedal's name, which only this engine asks for: it grabs what it opens
PEDAL: Final = "Conductor's page turner"
_RIG: Final = f"""
format = 2
[inputs]
pages = {{ keyboard = "{PEDAL}*" }}
[outputs]
strings = {{ port = "strings" }}
[[scenes]]
number = 1
name = "Overture"
[[scenes]]
number = 2
name = "Market"
[[scenes]]
number = 3
name = "Finale"
[[controls]]
input = "pages"
when = {{ key = "PageDown" }}
do = "next"
[[controls]]
input = "pages"
when = {{ key = "PageUp", press = "long" }}
do = "first"
"""


@contextmanager
def beginning_engine(folder: Path) -> Iterator[Engine]:
    """The engine, which has only just been started; killed at the end of the block if it still runs."""
    engine = Engine(folder, _RIG, "--backend", "memory")
    engine.begin()
    try:
        yield engine
    finally:
        engine.kill()

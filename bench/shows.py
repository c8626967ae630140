"""What loading the shows of `presets/shows` costs against the same rigs written out in format 1.

    python -m bench.shows [--rounds 9]

In turns: the file is read and checked, and all its scenes are compiled; then its long form. Processor time, medians.
"""

import argparse
import statistics
import time
from pathlib import Path
from typing import Final

from engine.core.compiled import compile_rig
from engine.rig.read.load import load, read
from tests.support.written_out import written_out

SHOWS: Final = Path(__file__).parents[1] / "presets" / "shows"


def loaded(text: str, source: str) -> tuple[float, float]:
    """Seconds until a text is a rig, and until its scenes are compiled."""
    begun = time.process_time()
    rig = read(text, source)
    read_at = time.process_time()
    compile_rig(rig)
    return read_at - begun, time.process_time() - begun


def main() -> None:
    """Print a line for each show."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=9)
    rounds = parser.parse_args().rounds
    for file in sorted(SHOWS.glob("*.toml")):
        short = file.read_text()
        texts = short, written_out(load(file))
        turns = [[loaded(text, str(file)) for text in texts] for _ in range(rounds)]
        read_ms, whole_ms = (
            [statistics.median(turn[which][part] for turn in turns) * 1000 for which in (0, 1)] for part in (0, 1)
        )
        lines = " and ".join(f"{len(text.splitlines()):,}" for text in texts)
        print(
            f"{file.stem}: {lines} lines; read {read_ms[0]:.0f} and {read_ms[1]:.0f} ms, compiled, too, "
            f"{whole_ms[0]:.0f} and {whole_ms[1]:.0f} ms: {whole_ms[0] / whole_ms[1]:.2f} of the long form"
        )


if __name__ == "__main__":
    main()

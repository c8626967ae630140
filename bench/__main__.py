"""Measures everything that the claims about speed rest on, each part in turns with its baselines.

    python -m bench [--part NAME …] [--quick] [--out FOLDER]

The whole run takes some ten minutes. It prints tables, says whether each target is met, and writes results.json,
results.svg and the results in README.md of the folder, this one by default. A part given by name replaces its earlier
results; the others stay, and so do those of a part in which a contender fails, with status 1 at the end. Parts "hour"
and "attacks" take an hour and twenty minutes, and are measured only if they are given by name.
"""

import argparse
import datetime
import importlib
import math
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import Any, Final

from bench import machine, report
from bench.contenders import Failed
from bench.result import COMPILED, PARTS, Pace
from engine.which_build import build_in_words, is_compiled

_LONG: Final = ("hour", "attacks")  # parts
_DISTURBED: Final = 5.0  # % of all cores, by other programs


def measure(name: str, quick: bool) -> dict[str, Any]:
    """One part."""
    part = importlib.import_module(f"bench.{name}")
    pace = Pace(quick, time.monotonic() + PARTS.get(name, math.inf))
    watch = machine.Watch()
    found = part.run(pace)
    if watch.others_percent > _DISTURBED:
        found.notes.append(f"Other programs took {watch.others_percent:.0f} % of this machine meanwhile.")
    if not pace.going:
        found.notes.append("Cut short: the machine was so busy with other work that its time was over.")
    when = datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%d %H:%M UTC")
    return {"when": when, "commit": machine.commit(), "quick": quick, "seconds": watch.seconds, **found.as_json()}


def name_of(part: str) -> str:
    """The name of its results, which the two builds have apart."""
    return part + COMPILED if is_compiled() else part


def main() -> None:
    """Measure, print, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--part", action="append", choices=[*PARTS, *_LONG], help="only this part; may be given again")
    parser.add_argument("--quick", action="store_true", help="short turns: to see that it works, not to quote")
    parser.add_argument("--out", type=Path, default=report.HERE, help="where results go")
    asked = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that the server and the contenders are ended
    asked.out.mkdir(parents=True, exist_ok=True)
    file = asked.out / "results.json"
    results = report.read_results(file)
    parts = results["parts"]
    results["machine"] = machine.description()
    failed = False
    for name in asked.part or PARTS:
        print(f"-- {name}, {build_in_words()}", flush=True)
        try:
            parts[name_of(name)] = measure(name, asked.quick)
        except Failed as fault:
            print(f"error: part {name} was not measured: {fault}", file=sys.stderr, flush=True)
            failed = True
            continue
        report.print_part(parts[name_of(name)])
        order = [each for part in (*PARTS, *_LONG) for each in (part, part + COMPILED)]
        results["parts"] = {each: parts[each] for each in order if each in parts}
        report.write_results(file, results)
    report.print_verdicts(parts)
    write_page(asked.out, results)
    sys.exit(failed)


def write_page(folder: Path, results: dict[str, Any]) -> None:
    """The picture, and the results in the folder's README."""
    from bench.picture import draw

    drawn = draw(results["parts"], folder / "results.svg")
    readme = folder / "README.md"
    if not readme.exists():
        shutil.copy(report.HERE / "README.md", readme)
    report.write_readme(readme, results, "results.svg" if drawn else None)
    print(f"written: {folder / 'results.json'}, {readme}{', ' + str(folder / 'results.svg') if drawn else ''}")


if __name__ == "__main__":
    main()

"""Puts faults into the source, one at a time, and lists those that no test notices.

    python -m tests.mutants [--count 500] [--seed N] [--jobs 2] [--seconds 30] [--keep FOLDER] [--result FILE]

The seed is printed; the same seed and source give the same mutants. Each is made in a copy of the tree and meets the
tests that reach its line: those of its own module, then the fastest, together no longer than `--seconds`. A test that
fails, or takes twenty times as long as otherwise, has caught it. `--keep` keeps which tests reach what, for the next
run of the same source and tests, and which test caught what, which is tried first then. The status is 1 if less than
95 per cent are caught of those that can be, or if a reason in equivalent.toml is wrong.
"""

import argparse
import json
import secrets
import sys
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path
from queue import SimpleQueue
from typing import Final, NamedTuple

from tests.mutants.equivalent import key_of, outdated, reasons
from tests.mutants.mutators import Mutant, mutants
from tests.mutants.reach import SOURCES, Reach, measure
from tests.mutants.trial import Tree
from tests.support.paths import ROOT

_GOAL: Final = 0.95


class Outcome(NamedTuple):
    """What became of a mutant: the test that caught it, or none; `tried`: how many were to."""

    mutant: Mutant
    caught_by: str | None
    tried: int


def all_mutants() -> list[Mutant]:
    """Every change of every source file, in a fixed order."""
    files = sorted(file.relative_to(ROOT) for source in SOURCES for file in (ROOT / source).rglob("*.py"))
    return [mutant for file in files for mutant in mutants(str(file), (ROOT / file).read_bytes())]


def sample(possible: Iterable[Mutant], count: int, seed: int) -> list[Mutant]:
    """So many of the mutants, at random. A change of the source changes the sample only where that change is."""

    def key(mutant: Mutant) -> tuple[bytes, int]:
        return sha256(f"{seed}\n{_written(mutant)}".encode()).digest(), mutant.start

    return sorted(possible, key=key)[:count]


class CatchersFile:
    """Which test caught which mutant in an earlier run."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._found: dict[str, str] = json.loads(file.read_text()) if file.exists() else {}

    def of(self, mutant: Mutant) -> str | None:
        """The test that caught this mutant."""
        return self._found.get(_written(mutant))

    def note(self, outcome: Outcome) -> None:
        """Keep what became of a mutant."""
        self._found.pop(_written(outcome.mutant), None)
        if outcome.caught_by is not None:
            self._found[_written(outcome.mutant)] = outcome.caught_by
        self._file.write_text(json.dumps(self._found))


def _written(mutant: Mutant) -> str:
    return "\n".join((*key_of(mutant), mutant.function))


def try_all(
    chosen: Sequence[Mutant], reach: Reach, catchers: CatchersFile, trees: Sequence[Tree], most: float
) -> Iterable[Outcome]:
    """Try mutants, as many at once as there are trees; yields the outcomes in the order of the mutants."""
    free: SimpleQueue[Tree] = SimpleQueue()
    for tree in trees:
        free.put(tree)

    def attempt(mutant: Mutant) -> Outcome:
        parts = reach.tests_of(mutant, most, first=catchers.of(mutant))
        tree = free.get()
        try:
            return Outcome(mutant, tree.catches(mutant, parts), sum(map(len, parts)))
        finally:
            free.put(tree)

    with ThreadPoolExecutor(len(trees)) as pool:
        yield from pool.map(attempt, chosen)


def verdict(outcomes: Sequence[Outcome]) -> tuple[list[str], bool]:
    """The lines of the result, and whether the goal is met and all reasons are right."""
    known = reasons()
    caught = [each for each in outcomes if each.caught_by is not None]
    survivors = [each for each in outcomes if each.caught_by is None]
    equivalent = [each for each in survivors if key_of(each.mutant) in known]
    wrong = [each for each in caught if key_of(each.mutant) in known]
    open_ = [each for each in survivors if key_of(each.mutant) not in known]
    could = len(outcomes) - len(equivalent)
    share = len(caught) / could if could else 1.0
    lines = [
        f"{len(outcomes)} mutants, {len(equivalent)} of them equivalent; "
        f"of the other {could} {len(caught)} are caught: {share:.1%} (goal {_GOAL:.0%})"
    ]
    lines += _listed("Not caught", ((each, f"{each.tried} tests let it pass") for each in open_))
    lines += _listed("Equivalent", ((each, known[key_of(each.mutant)]) for each in equivalent))
    lines += _listed("Wrongly called equivalent", ((each, f"caught by {each.caught_by}") for each in wrong))
    return lines, share >= _GOAL and not wrong


def _listed(title: str, found: Iterable[tuple[Outcome, str]]) -> list[str]:
    lines = [""]
    for (mutant, *_), words in found:
        lines += [
            f"  {mutant.place} {mutant.function}",
            f"    - {mutant.line}",
            f"    + {mutant.becomes}",
            f"    {words}",
        ]
    return ["", title, *lines] if lines[1:] else []


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--keep", type=Path, default=None)
    parser.add_argument("--result", type=Path, default=None)
    asked = parser.parse_args()
    seed = secrets.randbelow(1 << 32) if asked.seed is None else asked.seed
    possible = all_mutants()
    if old := outdated(possible):
        print("equivalent.toml has reasons for what the source no longer has:", *old, sep="\n  ")
        return 1
    head = f"python -m tests.mutants --count {asked.count} --seed {seed}, of {len(possible)} possible mutants"
    print(head, flush=True)
    chosen = sample(possible, asked.count, seed)
    with tempfile.TemporaryDirectory(prefix="bayleaf-mutants-") as folder:
        first = Tree(Path(folder, "0"))
        keep = asked.keep or Path(folder)
        keep.mkdir(exist_ok=True)
        kept = keep / "reach.json"
        reach = Reach.read(kept) if kept.exists() else measure(first, kept)
        catchers = CatchersFile(keep / "catchers.json")
        trees = [first, *(Tree(Path(folder, str(number))) for number in range(1, asked.jobs))]
        outcomes = []
        for outcome in try_all(chosen, reach, catchers, trees, asked.seconds):
            catchers.note(outcome)
            outcomes.append(outcome)
            if outcome.caught_by is None:
                print(f"{len(outcomes)}: {outcome.mutant.place} {outcome.mutant.becomes}", flush=True)
    lines, well = verdict(outcomes)
    print(*lines, sep="\n")
    if asked.result:
        asked.result.write_text("\n".join([head, *lines]) + "\n")
    return 0 if well else 1


if __name__ == "__main__":
    sys.exit(main())

"""Which test caught which mutant in an earlier run, kept in a file."""

import json
from hashlib import sha256
from pathlib import Path

from tests.mutants.equivalent import key_of
from tests.mutants.mutators import Mutant
from tests.mutants.reach import SOURCES
from tests.support.paths import ROOT


def name_of(mutant: Mutant) -> str:
    """A name that stays when other lines change."""
    return "\n".join(key_of(mutant))


class Catchers:
    """What caught what. It holds as long as no source and nothing in the test's module has changed."""

    def __init__(self, file: Path) -> None:
        """`file`: where it is kept; it need not exist yet."""
        self._file = file
        #: by name of the mutant the test, and a digest of all sources and of the test's module
        self._found: dict[str, tuple[str, str]] = json.loads(file.read_text()) if file.exists() else {}
        sources = sorted(each for source in SOURCES for each in (ROOT / source).rglob("*.py"))
        self._sources = sha256(b"".join(each.read_bytes() for each in sources)).digest()

    def former(self, mutant: Mutant) -> str | None:
        """The test that caught this mutant, whatever has changed since."""
        return self._found.get(name_of(mutant), (None, ""))[0]

    def still(self, mutant: Mutant) -> str | None:
        """The test that caught this mutant, if nothing has changed since."""
        test, digest = self._found.get(name_of(mutant), ("", ""))
        return test if test and digest == self._digest(test) else None

    def note(self, mutant: Mutant, caught_by: str | None) -> None:
        """Keep what became of a mutant."""
        self._found.pop(name_of(mutant), None)
        if caught_by is not None:
            self._found[name_of(mutant)] = (caught_by, self._digest(caught_by))
        self._file.write_text(json.dumps(self._found))

    def _digest(self, test: str) -> str:
        module = ROOT / test.partition("::")[0]
        return sha256(self._sources + (module.read_bytes() if module.is_file() else b"")).hexdigest()

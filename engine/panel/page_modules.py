"""The page's modules in one file, which is smaller and arrives sooner than sixty: each is a function that runs once.

The modules stay as they are written. `import { a as b } from "./x.js";` becomes a look into what x.js exports, and
what a module exports is what its function returns. So imports are one line each, go to a file beside the module, and
no two modules need each other; what is exported is a function, a class or a constant.
"""

import re
from collections.abc import Mapping
from typing import Final

_IMPORT: Final = re.compile(
    r'^import (?:\* as (?P<whole>\w+)|(?P<names>\{[^}]*\})) from "\./(?P<file>[^"]+)";$', re.MULTILINE
)
_EXPORT: Final = re.compile(r"^export (?=(?:async )?(?:function|class|const) (\w+))", re.MULTILINE)
_LEFT: Final = re.compile(r"^(?:im|ex)port\b.*", re.MULTILINE)


def joined(modules: Mapping[str, str], first: str) -> tuple[str, set[str]]:
    """The module `first` with all that it imports, and the names of these files.

    The file exports `modules`: what each exports, by its name. Raises ValueError for a module that cannot be joined.
    """
    done: dict[str, str] = {}

    def add(name: str, above: tuple[str, ...]) -> None:
        if name in above:
            raise ValueError(f"{name} and {above[-1]} need each other")
        if name not in done:
            for needed in _IMPORT.finditer(modules[name]):
                add(needed["file"], (*above, name))
            done[name] = _function(name, modules[name])

    add(first, ())
    return "\n".join(["export const modules = {};", *done.values()]), set(done)


def _function(name: str, text: str) -> str:
    exported = ", ".join(_EXPORT.findall(text))
    inside = _EXPORT.sub("", _IMPORT.sub(_looked_up, text))
    if left := _LEFT.search(inside):
        raise ValueError(f"{name}: {left[0]}")
    return f'modules["{name}"] = (() => {{\n{inside.rstrip()}\nreturn {{ {exported} }};\n}})();'


def _looked_up(found: re.Match[str]) -> str:
    names = found["whole"] or found["names"].replace(" as ", ": ")
    return f'const {names} = modules["{found["file"]}"];'

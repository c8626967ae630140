"""Named parts of a rig file (ports, instruments, chains, songs, set lists, players): renamed, removed with all uses.

All raise EditError, and then nothing has changed; see `scene_edits` for scenes.
"""

from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from engine.rig.edit.part_edits import put
from engine.rig.edit.toml_edits import EditError, Sheet, key_path, toml
from engine.rig.edit.whole_edits import edited
from engine.rig.models.references import FoundReference, references
from engine.rig.models.rig import Rig
from engine.rig.read.raw_data import no_such
from engine.rig.read.toml_layout import Path as Place

_HERE: Final = Path()
#: by section of the file: what one of its parts is called, and the section that references name
NAMED: Final = MappingProxyType(
    {
        "inputs": ("input", "inputs"),
        "outputs": ("output", "outputs"),
        "instruments": ("instrument", "instruments"),
        "chains": ("chain", "chains"),
        "songs": ("song", "songs"),
        "setlists": ("set list", "set lists"),
        "players": ("player", "players"),
    }
)
#: sections that are one table, of which a key goes that names nothing any more
_SINGLE: Final = ("sync", "remote")
_BY_KEY: Final = ("inputs", "outputs", "instruments", "chains")


def rename_part(text: str, section: str, name: str, new: str, *, folder: Path = _HERE) -> str:
    """Give a part another name, everywhere."""
    return edited(text, folder, lambda plain: _renamed(Sheet(plain), section, name, new))


def remove_part(text: str, section: str, name: str, *, folder: Path = _HERE) -> str:
    """Remove a part, and with it all lines, routes, steps, controls and lists that are nothing without it."""
    return edited(text, folder, lambda plain: _removed(plain, section, name))


def users(rig: Rig, section: str, name: str) -> int:
    """In how many places a rig names this part."""
    return sum(found.name == name and found.mark.section == NAMED[section][1] for found in references(rig, Rig))


def _parts(sheet: Sheet, section: str) -> list[str]:
    """The names in a section, in order."""
    found = sheet.data.get(section, {})
    return list(found) if isinstance(found, dict) else [each["name"] for each in found]


def _path(sheet: Sheet, section: str, name: str) -> Place:
    names = _parts(sheet, section)
    if name not in names:
        raise EditError(f"{no_such(NAMED[section][0], name, names)}; or it is in a file that this rig includes")
    return (section, name) if section in _BY_KEY else (section, names.index(name))


def _uses(sheet: Sheet, section: str, name: str) -> list[FoundReference]:
    found = references(sheet.data, Rig)
    return [each for each in found if each.mark.section == NAMED[section][1] and each.name == name]


# Renaming


def _renamed(sheet: Sheet, section: str, name: str, new: str) -> str:
    path, text = _path(sheet, section, name), sheet.text
    if new in _parts(sheet, section):
        raise EditError(f"there is already {'an' if section[0] in 'io' else 'a'} {NAMED[section][0]} {new}")
    spans = [(*sheet.value(each.keys), toml(new)) for each in _uses(sheet, section, name)]
    spans += _heads(sheet, path, new) if section in _BY_KEY else [(*sheet.value((*path, "name")), toml(new))]
    for start, end, written in sorted(spans, reverse=True):
        text = text[:start] + written + text[end:]
    return text


def _heads(sheet: Sheet, path: Place, new: str) -> list[tuple[int, int, str]]:
    """Where the name of a table is written: as the key of a value, or in the heads of [sections]."""
    changed = (*path[:-1], new)
    pair = sheet.key(path)
    if pair is not None:
        return [(*pair, key_path((new,)))]
    spans = []
    for head, (start, end) in sheet.heads(path):
        many = sheet.text.startswith("[[", start)
        written = key_path((*changed, *head[len(path) :]))
        spans.append((start, end, f"[[{written}]]" if many else f"[{written}]"))
    if not spans:
        raise EditError(f"{'.'.join(map(str, path))} is written in a way that only its author can edit; edit the file")
    return spans


# Removing


def _removed(text: str, section: str, name: str) -> str:
    sheet = Sheet(text)
    text = put(text, _path(sheet, section, name), None)
    while uses := _uses(Sheet(text), section, name):
        text = _without_use(text, uses[-1].keys)
    return text


def _without_use(text: str, keys: Place) -> str:
    """Without one name: it leaves its list, or what is nothing without it goes."""
    data: Any = Sheet(text).data
    for key in keys[:-1]:
        data = data[key]
    if isinstance(keys[-1], int) and len(data) > 1:
        return put(text, keys, None)
    if keys[0] in _SINGLE:
        return put(text, keys[:-1] if isinstance(keys[-1], int) else keys, None)
    whole = keys[:-1]
    while not (isinstance(whole[-1], int) or len(whole) == 2):
        whole = whole[:-1]
    if whole[0] in _BY_KEY and len(whole) == 2:
        return _removed(text, str(whole[0]), str(whole[1]))
    return put(text, whole, None)

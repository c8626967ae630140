"""Random rigs, valid by construction, as the text of their files."""

import json
from typing import Any

from hypothesis import strategies as st

NAMES = st.text(st.characters(codec="utf-8", exclude_characters="/\\\x7f", exclude_categories=("C", "Z")), min_size=1)
WORDS = NAMES.filter(lambda name: not name.isdecimal() and name != "last")
CHANNELS = st.integers(1, 16)
VALUES = st.integers(0, 127)
PAIRS = st.tuples(VALUES, VALUES).map(sorted)
TIMES = st.one_of(
    st.integers(0, 60_000).map(lambda ms: f"{ms} ms"), st.sampled_from(["0.5 s", "1 s", "60 s", "2.25ms", "0 ms"])
)

FILTERS = st.one_of(
    st.fixed_dictionaries({"filter": st.just("channels"), "keep": st.lists(CHANNELS, min_size=1, max_size=3)}),
    st.fixed_dictionaries({"filter": st.just("transpose"), "semitones": st.integers(-127, 127)}),
    st.fixed_dictionaries({"filter": st.just("zone"), "notes": PAIRS, "velocity": PAIRS}),
    st.fixed_dictionaries({"filter": st.just("notes"), "map": st.dictionaries(VALUES.map(str), VALUES, min_size=1)}),
    st.fixed_dictionaries({"filter": st.just("strip"), "kinds": st.just(["sysex", "controller 1"])}),
)


def toml(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key, ensure_ascii=False)} = {toml(v)}" for key, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def table(head: str, keys: dict[str, Any]) -> str:
    """One table of a rig file, one key per line."""
    return head + "\n" + "".join(f"{json.dumps(key, ensure_ascii=False)} = {toml(v)}\n" for key, v in keys.items())


@st.composite
def ports(draw: st.DrawFn, prefix: str) -> dict[str, dict[str, Any]]:
    """One to four ports or devices with names of their own; `prefix` keeps inputs and outputs apart."""
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique=True))
    kinds = [draw(st.sampled_from(["port", "device"])) for _ in names]
    return {name: {kind: f"{prefix} {place}*"} for place, (name, kind) in enumerate(zip(names, kinds, strict=True))}


@st.composite
def instruments(draw: st.DrawFn, outputs: list[str]) -> dict[str, dict[str, Any]]:
    """Up to three instruments, each on a channel of its own, with one or two sounds."""
    made = {}
    for channel, name in enumerate(draw(st.lists(NAMES, max_size=3, unique=True)), start=1):
        bank = draw(st.sampled_from(["none", "msb", "lsb", "msb lsb"]))
        first = draw(st.sampled_from([0, 1]))
        sound: dict[str, Any] = {"program": draw(st.integers(first, first + 127))}
        if bank != "none":
            sound["bank"] = draw(st.tuples(VALUES, VALUES))
        made[name] = {"output": draw(st.sampled_from(outputs)), "channel": channel, "bank": bank}
        made[name] |= {"settle": draw(TIMES), "programs_from": first, "sounds": {draw(NAMES): sound}}
    return made


@st.composite
def routes(draw: st.DrawFn, inputs: list[str], outputs: list[str]) -> dict[str, Any]:
    """A route without a name."""
    return {
        "from": draw(st.one_of(st.sampled_from(inputs), st.just(inputs))),
        "to": draw(st.one_of(st.sampled_from(outputs), st.just(outputs))),
        "through": draw(st.lists(FILTERS, max_size=3)),
    }


@st.composite
def lines(draw: st.DrawFn, inputs: list[str], gear: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """A play line without a name, and without a sound, since a burst may have chosen one."""
    optional = {
        "notes": PAIRS,
        "velocity": st.sampled_from(["..80", "64..", "20..127"]),
        "transpose": st.integers(-24, 24),
        "channel": CHANNELS,
        "pedal": st.booleans(),
        "programs": st.booleans(),
        "through": st.lists(st.one_of(FILTERS, st.just("soft")), max_size=2),
    }
    said = draw(st.fixed_dictionaries({"on": st.sampled_from(list(gear))}, optional=optional))
    return {"from": draw(st.one_of(st.sampled_from(inputs), st.just(inputs))), **said}


@st.composite
def new_keys(draw: st.DrawFn, inputs: list[str], gear: dict[str, dict[str, Any]], older: list[int]) -> dict[str, Any]:
    """What a scene may say in format 2; `older`: the numbers of scenes that it may be like."""
    sending = st.fixed_dictionaries({"on": st.sampled_from(list(gear)), "send": st.just(["volume 90", "pan 64"])})
    optional: dict[str, st.SearchStrategy[Any]] = {
        "text": WORDS,
        "tempo": st.integers(20, 300),
        "transpose": st.integers(-12, 12),
        "enter": st.lists(sending, max_size=2),
        "leave": st.lists(sending, max_size=2),
        "play": st.lists(lines(inputs, gear), max_size=3),
    }
    if older:
        optional["like"] = st.sampled_from(older)
    return draw(st.fixed_dictionaries({}, optional=optional))


@st.composite
def rig_texts(draw: st.DrawFn) -> str:
    """The text of a valid rig file of either format."""
    inputs, outputs = draw(ports("in")), draw(ports("out"))
    gear = draw(instruments(list(outputs)))
    newer = bool(gear) and draw(st.booleans())
    numbers = draw(st.lists(st.integers(1, 16384), min_size=1, max_size=4, unique=True))
    names = draw(st.lists(WORDS, min_size=len(numbers), max_size=len(numbers), unique=True))
    parts = ["format = 2\n" if newer else "format = 1\n"]
    parts += [table("[rig]", {"name": draw(WORDS), "start": draw(st.sampled_from([*names, "last"]))})]
    parts += [table(f"[inputs.{toml(name)}]", port) for name, port in inputs.items()]
    parts += [table(f"[outputs.{toml(name)}]", port) for name, port in outputs.items()]
    parts += [table(f"[instruments.{toml(name)}]", one) for name, one in gear.items()]
    parts += [table("[chains]", {"soft": [draw(FILTERS)]})] if newer else []
    for number, name in zip(numbers, names, strict=True):
        burst = [{"instrument": one, "sound": next(iter(gear[one]["sounds"]))} for one in gear]
        some = draw(st.lists(routes(list(inputs), list(outputs)), max_size=3))
        more = draw(new_keys(list(inputs), gear, numbers[: numbers.index(number)])) if newer else {}
        parts.append(table("[[scenes]]", {"number": number, "name": name, "routes": some, "burst": burst, **more}))
    parts.append(table("[[setlists]]", {"name": "A", "scenes": draw(st.permutations([*numbers, *names]))}))
    when = draw(st.sampled_from([{"program": "any"}, {"song": "any"}]))
    control = {"input": next(iter(inputs)), "when": when, "do": "scene", "guard": draw(TIMES), "pass": True}
    parts.append(table("[[controls]]", control))
    return "\n".join(parts)

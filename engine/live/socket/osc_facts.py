"""What control surfaces are sent about the show by Open Sound Control: a few facts when they change, or all of them.

What concerns a player with scenes of their own has their name before its word: `/bayleaf/anna/now`.
"""

from collections.abc import Iterator

from engine.core.control.stack import Stack
from engine.live.show import Show
from engine.live.socket.osc_packets import Value, osc_message


def osc_now(stack: Stack) -> bytes:
    """Number and name of a scene in force; 0 and an empty name before the first."""
    return osc_message(_word(stack, "now"), *(stack.in_force or (0, "")))


def facts(show: Show) -> dict[str, tuple[Value, ...]]:
    """What surfaces are sent on every change, by the word of its message."""
    state = show.engine.state
    main, *players = (_facts(show, stack) for stack in state.stacks.values())
    tempo = round(float(state.sync.bpm(show.clock()) or 0), 1)
    found: dict[str, tuple[Value, ...]] = {"now": main["now"], "coming": main["coming"], "tempo": (tempo,)}
    for each in (main, *players):
        found |= each
    return found


def _facts(show: Show, stack: Stack) -> dict[str, tuple[Value, ...]]:
    state = show.engine.state
    coming, song = stack.setlist.beside(1), state.song_of(stack)
    own: dict[str, tuple[Value, ...]] = {
        "now": stack.in_force or (0, ""),
        "coming": (coming, state.compiled.scenes[coming].name) if coming is not None else (0, ""),
        "song_now": (song.name if song is not None else "",),
        "transposed": (state.transposed(stack),),
    }
    return {_word(stack, what): values for what, values in own.items()}


def everything(show: Show, stack: Stack) -> Iterator[bytes]:
    """All that a surface needs to draw itself, message by message, as it was when the first was asked for.

    `stack`: of the player whose surface it is, or of the rest of the rig.
    """
    state = show.engine.state
    setlist, compiled, muted = stack.setlist, state.compiled, frozenset(state.muted)
    numbers, clock = setlist.numbers, state.sync.clock
    scene = compiled.rig.scene(stack.scene.number) if stack.scene is not None else None
    yield from [osc_message(what, *values) for what, values in facts(show).items()]
    yield osc_message(_word(stack, "cue"), (scene.cue if scene is not None else None) or "")
    yield osc_message(_word(stack, "text"), (scene.text if scene is not None else None) or "")
    yield osc_message("running", clock is not None and clock.running)
    yield osc_message(_word(stack, "order"), setlist.name or "", setlist.place + 1, len(numbers))
    for place, number in enumerate(numbers, 1):
        yield osc_message(_word(stack, "listed"), place, number, compiled.scenes[number].name)
    for song in compiled.songs:
        yield osc_message("song_listed", song)
    for route in sorted(compiled.route_names):
        yield osc_message("route", route, route in muted)
    yield osc_message("complete")


def _word(stack: Stack, what: str) -> str:
    return f"{stack.name}/{what}" if stack.name else what

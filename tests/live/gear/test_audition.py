"""A sound can be tried without leaving anything behind."""

from functools import partial
from typing import Any

import trio

from engine.core.commands import RecallScene
from engine.live.gear.audition import audition
from engine.protocol import AuditionRequest
from tests.support.answered import answered
from tests.support.small_show import RIG, Bench

WITH_SOUND = RIG.replace("channel = 5\n", 'channel = 5\nsounds = { "Tremolo" = { bank = [0, 3], program = 45 } }\n')
ASKED = {"do": "audition", "instrument": "string-machine", "sound": "Tremolo"}
SOUND, BEFORE = ["B4 00 00", "B4 20 03", "C4 2C"], ["B4 00 00", "B4 20 03", "C4 0B"]


async def asked(bench: Bench, request: dict[str, Any]) -> dict[str, Any]:
    return await answered({AuditionRequest: partial(audition, bench.show)}, request)


async def test_a_sound_is_recalled_played_softly_and_put_back(autojump_clock: object) -> None:
    """Bank and program, three soft notes each with its note-off, then the bank and program that were in force."""
    bench = Bench(WITH_SOUND)
    bench.show.apply(RecallScene(1), "shell")
    assert bench.heard("strings") == BEFORE
    answer = await asked(bench, ASKED)
    notes = [note for key in ("3C", "40", "43") for note in (f"94 {key} 30", f"84 {key} 40")]
    assert bench.heard("strings") == [*SOUND, *notes, *BEFORE]
    assert answer["text"] == "string-machine: Tremolo was played; the previous sound is back"


async def test_drums_are_tried_with_drums(autojump_clock: object) -> None:
    """An instrument with drums plays bass drum, snare and hi-hat, as hard as asked. Source: RP-003, Table 3."""
    bench = Bench(
        WITH_SOUND.replace("channel = 5\n", "channel = 5\ndrums = true\n").replace("format = 1", "format = 2")
    )
    assert (await asked(bench, {**ASKED, "velocity": 100}))["done"]
    assert [each for each in bench.heard("strings") if each.startswith("94")] == ["94 24 64", "94 26 64", "94 2A 64"]


async def test_at_a_missing_output_nothing_is_played() -> None:
    """The answer says so at once, instead of claiming that the sound was played."""
    bench = Bench(WITH_SOUND, missing=("strings",))
    answer = await asked(bench, ASKED)
    assert (answer["done"], answer["code"]) == (False, "missing-port")
    assert answer["text"] == "output strings of string-machine is missing; nothing was played"


async def test_a_sound_that_is_not_known_is_said_so(autojump_clock: object) -> None:
    """If nothing was sent to the channel before, the answer says that the previous sound is unknown."""
    answer = await asked(Bench(WITH_SOUND), ASKED)
    assert "not known" in answer["text"]


async def test_no_note_hangs_when_it_is_cut_short(autojump_clock: object) -> None:
    """A cancelled audition releases its note and restores the sound."""
    bench = Bench(WITH_SOUND)
    bench.show.apply(RecallScene(1), "shell")
    bench.heard("strings")
    with trio.move_on_after(0.1):
        await asked(bench, ASKED)
    assert bench.heard("strings") == [*SOUND, "94 3C 30", "84 3C 40", *BEFORE]


async def test_an_unknown_sound_plays_nothing(autojump_clock: object) -> None:
    """A sound or an instrument that the rig does not have is reported, and nothing is sent."""
    bench = Bench(WITH_SOUND)
    answer = await asked(bench, {**ASKED, "sound": "Harp"})
    assert not answer["done"]
    assert bench.heard("strings") == []

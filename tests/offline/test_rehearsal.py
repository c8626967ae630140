"""What a rehearsal calculates and reports, and the names of its files."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.offline.output_folder import file_names
from engine.offline.rehearsal_run import Rehearsed, rehearse
from engine.offline.song import Played, Song
from engine.offline.song_time import SongTime
from engine.rig.read.load import read
from tests.support.players_rig import PLAYERS

OTHER = """[instruments.other]
output = "brass"
channel = 1
settle = "20 ms"
[instruments.second]"""
MS = 1_000_000
S = 1000 * MS
BYTE = 320_000  # ns (MIDI 1.0 p. 1: 31,250 bits per second, ten per byte)
RIG = """
format = 1
[inputs]
keys = { port = "a" }
pads = { port = "b" }
[outputs]
strings = { port = "c", wire = "din" }
brass = { port = "d" }
[instruments.lead]
output = "strings"
channel = 1
settle = "10 ms"
sounds = { "Pad" = { bank = [1, 2], program = 10 }, "Reed" = { bank = [3, 4], program = 20 } }
[instruments.second]
output = "strings"
channel = 2
bank = "lsb"
[[scenes]]
number = 1
name = "Straight"
routes = [ { from = ["keys", "pads"], to = ["strings", "brass"] } ]
burst = [ { instrument = "lead", sound = "Pad" } ]
[[scenes]]
number = 2
name = "Moved"
routes = [
  { from = "keys", to = "strings", through = [ { filter = "transpose", semitones = 5, outside = "fold" } ] },
  { from = "pads", to = "brass", through = [ { filter = "channels", map = { 1 = 2 } } ] },
]
burst = [ { instrument = "lead", sound = "Reed" }, { instrument = "second", bank = [0, 9], program = 7 } ]
[[scenes]]
number = 3
name = "Silence"
[[setlists]]
name = "Order"
scenes = [1, 2, 1, 3]
[[controls]]
input = "keys"
when = { controller = 80 }
do = "next"
guard = "0 ms"
"""


def played(*messages: tuple[int, int, bytes], rig: str = RIG, ends: int = 0) -> Rehearsed:
    """Play these (ms, input, message) through the rig."""
    listed = [Played(at * MS, source, message) for at, source, message in messages]
    song = Song("test.mid", SongTime(), listed, max([ends * MS, *(each.at for each in listed)]))
    return rehearse(read(rig, "test"), song, None, lambda part: None)


def by_time(*messages: tuple[int, int, bytes]) -> list[tuple[int, int, bytes]]:
    """By time; messages of the same time keep their order."""
    return sorted(messages, key=lambda each: each[0])


NEXT = (b"\xb0\x50\x7f", b"\xb0\x50\x00")
key = st.tuples(st.integers(0, 1), st.integers(40, 45), st.integers(0, 1))  # input, key, channel
doings = st.lists(
    st.tuples(st.integers(0, 40), st.one_of(key, st.just("next"), st.tuples(st.just("wheel"), st.integers(0, 127)))),
    max_size=120,
)


@given(doings)
def test_whatever_is_played_the_promises_hold(done: list[tuple[int, object]]) -> None:
    """No note is left sounding; each output has as many note-offs as note-ons; no byte goes on a DIN cable before the
    previous one has left; bank MSB, bank LSB and program are consecutive (MIDI 1.0 pp. 1, 13, A-4)."""
    now, down, messages = 0, set[object](), list[tuple[int, int, bytes]]()
    for wait, what in done:
        now += wait
        if what == "next":
            messages += [(now, 0, message) for message in NEXT]
        elif isinstance(what, tuple) and what[0] == "wheel":
            messages.append((now, 1, bytes((0xE0, 0, what[1]))))
        elif isinstance(what, tuple):
            source, number, channel = what
            status = 0x80 if what in down else 0x90
            down ^= {what}
            messages.append((now, source, bytes((status | channel, number, 64))))
    assert played(*messages).report["notes_left_sounding"] == 0
    # what the end itself releases gets one note-off a key, so here each key has its own release
    messages += [(now, each[0], bytes((0x80 | each[2], each[1], 64))) for each in down if isinstance(each, tuple)]
    found = played(*messages)
    assert found.report["notes_left_sounding"] == 0
    for name, sent in found.done.sent.items():
        ons = sum(each.message[0] & 0xF0 == 0x90 for each in sent)
        assert ons == sum(each.message[0] & 0xF0 == 0x80 for each in sent), name
    strings = found.done.sent["strings"]
    assert all(after.start >= before.start + len(before.message) * BYTE for before, after in pairwise(strings))
    assert all(each.wait >= 0 and each.handed <= each.start <= each.handed + 3 * MS for each in strings)
    for place, each in enumerate(strings):
        if each.message[:2] == b"\xb0\x00":
            low, program = (strings[place + n].message for n in (1, 2))
            assert (low[:2], program[0]) == (b"\xb0\x20", 0xC0)
    assert len(found.report["scene_changes"]) >= 1


def test_the_set_list_puts_the_scenes_where_the_pedal_does() -> None:
    """`next` steps through the set list; at its end this is reported and no burst is sent."""
    found = played(*((at, 0, message) for at in (100, 200, 300, 400) for message in NEXT))
    assert [(each["at"], each["number"]) for each in found.report["scene_changes"]] == [
        (0.0, 1),
        (0.1, 2),
        (0.2, 1),
        (0.3, 3),
    ]
    assert any("end of set list Order" in each["text"] for each in found.report["told"])


def test_the_load_is_what_the_cable_carries() -> None:
    """A hundred notes at once are 300 bytes or 96 ms; the last waits for the burst and 99 others; a DIN cable carries
    3,125 bytes per second."""
    chord = [(1000, 1, bytes((0x92, number, 64))) for number in range(100)]
    off = [(2500, 1, bytes((0x82, number, 64))) for number in range(100)]
    found = played(*chord, *off).report["outputs"]["strings"]
    assert found["load"]["bytes"] == 8 + 600
    assert found["load"]["limit_bytes_per_second"] == 3125
    assert found["load"]["busiest_second"]["bytes"] == 300
    assert sum(found["load"]["bytes_per_stretch"]) == 608
    assert max(found["load"]["bytes_per_stretch"]) == 300
    assert found["worst_wait_ms"] == pytest.approx(99 * 3 * 0.32)
    assert found["worst_waits"][0]["message"].startswith("channel 3 note o")


def test_advice_names_what_to_do() -> None:
    """For a burst of many steps that makes a note wait, the advice is to send it earlier or spread it; for a cable that
    is too full, to relieve it; for an instrument without a sound, to give it one."""
    steps = ", ".join(f'{{ output = "strings", channel = {n}, bank = [1, 1], program = 1 }}' for n in range(1, 17))
    burst = '{ instrument = "lead", sound = "Reed" }, { instrument = "second", bank = [0, 9], program = 7 }'
    assert burst in RIG
    rig = RIG.replace(burst, steps)
    waits = played((500, 0, NEXT[0]), (500, 0, NEXT[1]), (501, 0, b"\x92\x3c\x40"), (900, 0, b"\x82\x3c\x40"), rig=rig)
    ready = 16 * 8 * 0.32
    (text,) = [each for each in waits.report["findings"] if each.startswith("Moved")]
    assert (
        f"strings is ready {ready:.0f} ms after the change ({ready:.0f} ms on the cable); one note waits up to" in text
    )
    assert "recall it a beat earlier or move" in text
    assert text.endswith("steps to another output")
    quiet = played((500, 0, NEXT[0]), (500, 0, NEXT[1]), (500, 0, b"\x92\x3c\x40"), (900, 0, b"\x82\x3c\x40"))
    assert quiet.report["scene_changes"][1]["notes_that_waited"] == 1
    assert quiet.report["scene_changes"][1]["worst_wait_ms"] == pytest.approx(13 * 0.32)  # too short to matter
    assert not any(text.startswith("Moved") for text in quiet.report["findings"])
    chord = [(1000, 1, bytes((0x92, number, 64))) for number in range(60)]
    full = played(*chord, *((2000, 1, bytes((0x82, number, 64))) for number in range(60))).report["findings"]
    assert any(each.startswith("strings: at 0:0") and "59 messages are ahead of it" in each for each in full)
    unset = played((0, 0, b"\x91\x3c\x40"), (9, 0, b"\x81\x3c\x40")).report["findings"]
    assert any("second plays one note but no sound was ever selected for it" in each for each in unset)


def test_a_long_sysex_is_named_and_what_was_shed_misleads_nobody() -> None:
    """Quarter frames that find no room behind a SysEx of three seconds are shed and reported; later ones wait for
    nothing, and messages that did wait are reported as waiting behind the SysEx."""
    dump = b"\xf0\x7d" + bytes(9373) + b"\xf7"  # 9,376 bytes: 3 s
    codes = [(10 + 8 * n, 1, bytes((0xF1, n % 8 * 16))) for n in range(700)]
    found = played((0, 0, dump), (100, 0, b"\x92\x3c\x40"), (900, 0, b"\x82\x3c\x40"), *codes)
    strings = found.done.sent["strings"]
    assert found.report["outputs"]["strings"]["shed"] > 0
    assert all(each.wait <= 3 * MS for each in strings if each.asked > 3500 * MS)
    note = next(each for each in strings if each.message[0] == 0x92)
    assert note.wait > 2900 * MS
    assert any("because a SysEx of 9,376 bytes is on the cable; send" in text for text in found.report["findings"])


def test_no_byte_is_lost_where_two_stretches_meet() -> None:
    """The stretches of a cable's load together hold all its bytes, including messages that begin in one stretch and end
    in the next, and the last message (common practice, no source)."""
    notes = [(125 * n - 1, 1, bytes((0x92 if n % 2 else 0x82, 60, 64))) for n in range(1, 241)]
    load = played(*notes).report["outputs"]["strings"]["load"]
    assert sum(load["bytes_per_stretch"]) == load["bytes"] == 8 + 720


def test_what_waits_beside_the_bursts_is_reported_though_bursts_make_longer_waits() -> None:
    """A chord that fills the cable is reported, even if bursts keep other notes waiting for longer."""
    changes = [(500 * n, 0, message) for n in range(1, 9) for message in NEXT]
    held = [(500 * n + 1, 1, bytes((status, 60, 64))) for n in range(1, 9) for status in (0x90, 0x80)]
    rig = RIG.replace('settle = "10 ms"', 'settle = "90 ms"').replace("scenes = [1, 2, 1, 3]", f"scenes = {[1, 2] * 5}")
    rig = rig.replace('from = "pads", to = "brass"', 'from = "pads", to = "strings"').replace("{ 1 = 2 }", "{ 2 = 1 }")
    chord = [(9000 + off, 1, bytes((0x92 - off // 50, number, 64))) for off in (0, 800) for number in range(40)]
    found = played(*by_time(*changes, *held, *chord), rig=rig).report
    output = found["outputs"]["strings"]
    assert all(each["at"] < 9 for each in output["worst_waits"])
    assert output["late_beside_bursts"]["at"] >= 9
    assert output["late_beside_bursts"]["ahead"] == 39
    assert any(each.startswith("strings: at 0:09") for each in found["findings"])


def test_only_what_is_heard_is_late() -> None:
    """Of messages that wait apart from bursts, a note is reported from 10 ms on, and first; a controller from 100 ms on
    (common practice, no source)."""
    few = [(1000, 1, bytes((0xB2, number, 64))) for number in range(1, 31)]
    assert played(*few).report["outputs"]["strings"]["late_beside_bursts"] is None
    many = [(1000, 1, bytes((0xB0 | channel, number, 64))) for channel in (2, 3) for number in range(33, 93)]
    late = played(*many).report["outputs"]["strings"]["late_beside_bursts"]
    assert late["ms"] == pytest.approx(119 * 0.96)
    chord = [(3000, 1, bytes((status, number, 64))) for status in (0x92, 0x82) for number in range(30)]
    late = played(*many, *chord).report["outputs"]["strings"]["late_beside_bursts"]
    assert late["message"].startswith("channel 3 note on")


def test_a_scene_that_is_recalled_often_is_reported_once() -> None:
    """The advice names a scene once, at its worst place and output; it says how often this happens and where else notes
    wait."""
    changes = [(500 * n, 0, message) for n in range(1, 4) for message in NEXT]
    notes = [(500 * n + n, 1, bytes((status, 60, 64))) for n in (1, 3) for status in (0x90, 0x80)]
    rig = RIG.replace('settle = "10 ms"', 'settle = "90 ms"').replace("scenes = [1, 2, 1, 3]", "scenes = [1, 2, 1, 2]")
    rig = rig.replace('from = "pads", to = "brass"', 'from = "pads", to = "strings"').replace("{ 1 = 2 }", "{ 2 = 1 }")
    found = played(*by_time(*changes, *notes), rig=rig).report["findings"]
    (text,) = [each for each in found if "after the change" in each]
    assert text.startswith("Moved (0:00.500, bar 1:2, the worst of two times): strings is ready 9")
    assert "too" not in text
    rig = rig.replace('port = "d"', 'port = "d", wire = "din"').replace("[instruments.second]", OTHER)
    rig = rig.replace(
        "bank = [0, 9], program = 7 }", 'bank = [0, 9], program = 7 }, { instrument = "other", program = 3 }'
    )
    rig = rig.replace('from = "pads", to = "strings"', 'from = "pads", to = ["strings", "brass"]')
    found = played(*by_time(*changes, *notes), rig=rig).report["findings"]
    (text,) = [each for each in found if "after the change" in each]
    assert text.endswith("one note waits up to 92 ms; recall it a beat earlier; notes also wait on brass (20 ms)")


def test_what_the_end_lets_go_keeps_nobody_waiting() -> None:
    """The releases at the end of a show queue up, and that is not listed as something to fix."""
    found = played(*((1000, 1, bytes((0x90, number, 64))) for number in range(30, 40)), ends=5000).report
    assert [text for text in found["findings"] if "ahead of it" in text] == []
    assert all(each["at"] < 5 for each in found["outputs"]["strings"]["worst_waits"])


def test_keys_that_are_held_are_counted() -> None:
    """If the song holds many keys at its end, some are named and the others counted."""
    found = played(*((0, 0, bytes((0x90, 60 + number, 64))) for number in range(6)), ends=500).report
    assert len(found["held_by_the_song_at_its_end"]) == 12
    text = next(each for each in found["findings"] if "never releases" in each)
    assert "C4, C#4, D4, D#4, E4, F4 on strings channel 1, C4, C#4 on brass channel 1 and 4 more;" in text


def test_what_the_song_holds_is_reported_and_let_go() -> None:
    """A key that the song never releases is released at the end, as in `run`, and the report says which."""
    found = played((0, 0, b"\x90\x3c\x40"), ends=500)
    assert found.report["notes_left_sounding"] == 0
    assert found.report["held_by_the_song_at_its_end"][0] == {"output": "strings", "channel": 1, "note": "C4"}
    assert [each.message[0] for each in found.done.sent["brass"]] == [0x90, 0x80]


names = st.lists(
    st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="/\\"), min_size=1, max_size=80),
    unique=True,
    max_size=6,
)


@given(names)
def test_every_output_has_a_file_of_its_own(outputs: list[str]) -> None:
    """Whatever the outputs are called, their files' names differ even where case is ignored, are short enough, and
    contain nothing that a file system reads as more than a name (common practice, no source)."""
    found = file_names(outputs)
    assert list(found) == outputs
    folded = [name.casefold() for name in found.values()]
    assert len(set(folded)) == len(folded)
    for name in found.values():
        assert name.endswith(".mid")
        assert len(name.encode()) < 255
        assert not set(name) & set('<>:"/\\|?*\0\n')
        assert name[0] not in ". -~"
        assert name.split(".")[0].casefold() not in ("con", "nul", "aux", "prn", "com1", "lpt9")


@pytest.mark.parametrize(
    ("output", "name"),
    [("strings", "strings.mid"), ("Eight-way box 1", "Eight-way box 1.mid"), ("..", "_.._.mid"), ("NUL", "_NUL.mid"),
     ("a:b", "a%3Ab.mid"), ("Flöte", "Flöte.mid")],
)  # fmt: skip
def test_plain_names_stay_as_they_are(output: str, name: str) -> None:
    """A name that is safe is the file's name; in other names only what is unsafe is changed."""
    assert file_names([output]) == {output: name}


@pytest.mark.parametrize(("setlist", "begins"), [("[1, 2]", ["C0 20"]), ("[2, 1]", ["C0 23"])])
def test_all_players_begin_as_in_a_show(setlist: str, begins: list[str]) -> None:
    """Each with the first scene of their set list, the rest of the rig, too."""
    sent = played(rig=PLAYERS.replace("scenes = [1, 2]", f"scenes = {setlist}")).done.sent
    programs = [each.message.hex(" ").upper() for each in (*sent["left"], *sent["right"])]
    assert [each for each in programs if each[0] == "C"] == [*begins, "C1 3D", "C2 30"]

"""Stacks are read from what profilers write, and drawn as wide as their share. Formats: py-spy 0.4, perf-script(1)."""

from itertools import pairwise
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from bench.flame import PARTS, REST
from bench.flamegraph import drawn, grown, share_of
from bench.sampling import compiled_name, perf_stacks, py_spy_stacks

SVG = "{http://www.w3.org/2000/svg}"

PY_SPY = """\
thread (7): MainThread;<module> (bench/flame.py:1);play (bench/flame.py:90);run (engine/live/music_loop.py:26);\
waker.<locals>.turn (engine/live/loop_wakeup.py:23);Show.pump (engine/live/show.py:106) 30
thread (7): MainThread;<module> (bench/flame.py:1);run (engine/live/music_loop.py:26) 50
thread (8): bayleaf-reader;Thread._bootstrap (threading.py:988);InputReader._run (engine/live/reader.py:236);\
Scheduled.poll (bench/load.py:89) 10
thread (8): bayleaf-reader;Thread._bootstrap (threading.py:988);InputReader._run (engine/live/reader.py:236);\
InputReader._rest (engine/live/reader.py:258) 60
"""

PERF = """\
python   7
\t          1989ee _Py_dict_lookup (/usr/lib/libpython3.11.so.1.0)
\t          198a00 CPyDict_Get (/there/795f__mypyc.so)
\t           26000 CPyDef_core___engine___Engine____route (/there/795f__mypyc.so)
\t           25000 CPyDef_core___engine___Engine___receive (/there/795f__mypyc.so)
\t           ff51f _PyEval_EvalFrameDefault (/usr/lib/libpython3.11.so.1.0)
\t          2ba216 Py_BytesMain (/usr/lib/libpython3.11.so.1.0)
\t            1080 _start (/usr/bin/python3.11)

python   8
\tffffffff81e00 finish_task_switch ([kernel.kallsyms])
\tffffffff81e01 __x64_sys_clock_nanosleep ([kernel.kallsyms])
\tffffffff81e02 entry_SYSCALL_64_after_hwframe ([kernel.kallsyms])
\t           a7000 clock_nanosleep (/usr/lib/libc.so.6)
\t           ff51f time_sleep (/usr/lib/libpython3.11.so.1.0)
\t           31000 CPyDef_reader___InputReader____rest (/there/795f__mypyc.so)
\t           30000 CPyDef_reader___InputReader____run (/there/795f__mypyc.so)

python   8
\t           ff51f _PyEval_EvalFrameDefault (/usr/lib/libpython3.11.so.1.0)
\t           31000 CPyDef_reader___InputReader____poll (/there/795f__mypyc.so)
"""


def test_what_py_spy_wrote() -> None:
    """Names begin with their owner; what is above the loop is left out, and so is what waits."""
    assert py_spy_stacks(PY_SPY.splitlines()) == {
        ("loop's thread", "live: run", "live: waker.turn", "live: Show.pump"): 30,
        ("reader's thread", "live: InputReader._run", "bench: Scheduled.poll"): 10,
    }


def test_what_perf_wrote() -> None:
    """Compiled functions have their names in the source; what is interpreted is named by who called it."""
    dictionary = ("core: Engine.receive", "core: Engine._route", "Python: CPyDict_Get", "Python: _Py_dict_lookup")
    reader = "reader's thread"
    assert perf_stacks(PERF.splitlines()) == {
        ("loop's thread", "live: the loop and trio, in Python", *dictionary): 1,
        (reader, "live: InputReader._run", "live: InputReader._rest", "system: clock_nanosleep"): 1,
        (
            reader,
            "live: InputReader._poll",
            "ports: an input port, in Python",
            "Python: _PyEval_EvalFrameDefault",
        ): 1,
    }


def test_names_of_compiled_functions() -> None:
    """With as many words of the module's name as mypyc needs; wrappers for Python have none."""
    assert compiled_name("CPyDef_held_notes___HeldNotes___press") == "core: HeldNotes.press"
    assert compiled_name("CPyDef_core___engine___Engine____put") == "core: Engine._put"
    assert compiled_name("CPyPy_held_notes___HeldNotes___press") is None


STACKS = st.dictionaries(
    st.lists(st.sampled_from(("core: a", "live: <b> & c", "trio: d")), min_size=1, max_size=5).map(tuple),
    st.integers(1, 1000),
    min_size=1,
    max_size=12,
)


@given(STACKS)
def test_frames_are_as_wide_as_their_share_and_never_overlap(stacks: dict[tuple[str, ...], int]) -> None:
    """The picture is XML; at each depth, what is drawn has room side by side, and the root has all samples."""
    picture = ElementTree.fromstring(drawn(stacks, "<title>", "note & more", least=0.0))
    boxes = [group.find(f"{SVG}rect") for group in picture.iter(f"{SVG}g")]
    rows: dict[str, list[tuple[float, float]]] = {}
    for box in boxes:
        assert box is not None
        rows.setdefault(box.attrib["y"], []).append((float(box.attrib["x"]), float(box.attrib["width"])))
    assert grown(stacks).samples == sum(stacks.values())
    for row in rows.values():
        row.sort()
        for (left, width), (following, _) in pairwise(row):
            assert left + width <= following + 0.5


def test_small_frames_are_left_out() -> None:
    """Those whose share is below the least."""
    stacks: dict[tuple[str, ...], int] = {("core: large",): 99, ("core: small",): 1}
    assert "small" in drawn(stacks, "", "", least=0.01)
    assert "small" not in drawn(stacks, "", "", least=0.011)


def test_each_sample_counts_once() -> None:
    """For the first part of which a frame is in the stack; the rest is the loop's."""
    parts = [(part, frozenset(frames)) for part, frames in PARTS]
    stacks = {
        ("loop's thread", "live: Show.pump", "core: Engine.receive", "core: Engine._route"): 6,
        ("loop's thread", "live: Show.pump"): 2,
        ("loop's thread", "live: run"): 2,
    }
    shares = share_of(stacks, parts, REST)
    assert shares["the core: routing, cables"] == 0.6
    assert shares["taking what has arrived, the rest of each turn"] == shares[REST] == 0.2
    assert sum(shares.values()) == 1

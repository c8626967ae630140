"""Reading rig files: valid files, files that are not rigs at all, several errors at once."""

import os
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.read.load import RigError, RigProblem, load, read
from engine.rig.read.sound_list import SoundListError, sound_list
from tests.support.plain_rig import RIG


def problems(text: str) -> tuple[RigProblem, ...]:
    with pytest.raises(RigError) as caught:
        read(text, "pit.toml")
    return caught.value.problems


def refused(path: Path) -> str:
    with pytest.raises(RigError) as caught:
        load(path)
    return str(caught.value)


def test_a_good_rig_loads_with_its_defaults() -> None:
    """A good rig loads; keys that it leaves out have the documented default (README: the rig file)."""
    rig = read(RIG, "pit.toml")
    assert rig.rig.name == "Pit"
    assert rig.outputs["strings"].wire == "din"
    assert rig.outputs["drums"].wire == "fast"
    assert rig.instruments["string-machine"].settle == 30_000_000
    assert rig.instruments["old-synth"].programs_from == 0
    assert rig.scenes[0].routes[0].source == ("keys",)
    assert rig.scenes[0].routes[1].source == ("keys", "pedals")
    chain = Lowering(rig).lowered(rig.scenes[0]).routes[0].through
    assert [settings.filter for settings in chain] == ["channels", "transpose"]
    assert rig.controls[0].guard == 250_000_000
    assert rig.controls[1].guard == 30_000_000
    assert rig.controls[1].passes is False


def test_a_blank_step_may_stand_beside_the_one_that_sends() -> None:
    """A step without sound or program sends nothing, so one channel may have several, besides one that sends."""
    step = '{ instrument = "string-machine", sound = "Warm pad" },'
    rig = read(
        RIG.replace(step, f'{{ instrument = "string-machine" }}, {step} {{ output = "strings", channel = 5 }},'),
        "pit.toml",
    )
    assert [step.blank for step in rig.scenes[0].burst] == [True, False, True, False]


def test_a_scene_is_found_by_number_or_name() -> None:
    """A scene is found by its number, its name, or its number as text; nothing else finds one."""
    rig = read(RIG, "pit.toml")
    assert rig.scene(12) is rig.scene("Finale") is rig.scene("12") is rig.scenes[1]
    assert rig.scene(13) is rig.scene("finale ") is rig.scene("13") is rig.scene("9" * 5000) is None


def test_all_errors_of_a_file_come_at_once_and_in_order() -> None:
    """Four mistakes of different kinds in one file are all reported, in the order of their lines."""
    text = RIG.replace("channel = 5", "channel = 17").replace('from = "serial"', 'from = "seriall"')
    text = text.replace('sound = "Warm pad" }', 'sound = "Warm" }').replace('do    = "next"', 'do = "nxt"')
    assert [(problem.line, problem.key) for problem in problems(text)] == [
        (18, "instruments.string-machine.channel"),
        (32, "routes.1.from"),
        (46, "scenes.1.burst.1.sound"),
        (67, "controls.2.do"),
    ]


def test_what_a_misspelt_section_lacks_is_reported_once_a_name() -> None:
    """If [inputs] is misspelt, that is reported, and each missing input once, not for each route and control."""
    assert [(problem.line, problem.key) for problem in problems(RIG.replace("[inputs]", "[inputz]"))] == [
        (7, "inputz"),
        (32, "routes.1.from"),
        (39, "scenes.1.routes.1.from"),
        (43, "scenes.1.routes.2.from.2"),
    ]


def test_the_error_prints_one_line_a_problem() -> None:
    """The error's text is one line for each problem: FILE:LINE: KEY: sentence."""
    with pytest.raises(RigError) as caught:
        read(RIG.replace("channel = 5", "channel = 17").replace('"din"', '"usb"'), "shows/pit.toml")
    assert str(caught.value).splitlines() == [
        'shows/pit.toml:13: outputs.strings.wire: found "usb"; allowed: "din" or "fast"',
        "shows/pit.toml:18: instruments.string-machine.channel: found 17; allowed: 1 to 16",
    ]


def test_what_was_found_cannot_steer_the_terminal() -> None:
    """Control characters in a value are shown as escapes, never sent to the terminal."""
    (problem,) = problems(RIG.replace('wire = "din"', 'wire = "\\u001b[2J\\n"'))
    assert "\x1b" not in str(problem)
    assert "\n" not in str(problem)
    assert "\\u001b[2J\\u000a" in str(problem)


@pytest.mark.parametrize("old", ["Pit", "Overture", "Friday", "low", "Stage piano*"])
def test_a_name_is_not_too_long_for_a_status(old: str) -> None:
    """Names and ports of 1,000 characters are taken. Of a longer one, and of a long reference, an error quotes the
    beginning."""
    read(RIG.replace(f'"{old}"', f'"{"x" * 1000}"'), "pit.toml")
    found = problems(RIG.replace(f'"{old}"', f'"{"x" * 3_000_000}"', 1))
    assert any(problem.text.endswith('xxx…"; allowed: text of at most 1,000 characters') for problem in found), found
    found += problems(RIG.replace('"keys"', f'"{"x" * 3_000_000}"'))
    assert max(len(str(problem)) for problem in found) < 5000


@pytest.mark.parametrize("old", ["Pit", "Overture", "Friday", "low", "Warm pad"])
def test_no_name_can_steer_the_terminal(old: str) -> None:
    """Names that are shown often, such as a scene's, contain no control characters at all."""
    texts = [problem.text for problem in problems(RIG.replace(f'"{old}"', f'"{old}\\u001b[2J"', 1))]
    assert any(text.endswith("allowed: text without control characters") for text in texts), texts


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("", 1, "format: this key is missing"),
        ("x = " + "[" * 20_000, 1, "too deeply"),
        (RIG + "[rig.x]\ny = " + "[" * 400 + "]" * 400, 1, "too deeply"),
        ("format = " + "9" * 5_000, 1, "more than 1,000 characters"),
        ('format = 1\n[inputs]\n"' + "k" * 1001 + '" = {}', 3, "a name has more than 1,000 characters; give it a"),
        (
            'format = 1\n[inputs]\n"' + "k" * 1001 + '\\u0041" = {}',
            1,
            "a name has more than 1,000 characters; give it a",
        ),
        ("format = " + "9" * 900, 1, "too many digits"),
        ("format = 1\nname = 0x1" + "0" * 16, 1, "too many digits"),
        ("format = 1\n" + "a." * 64 + "a = 1", 2, "more than 64 parts"),
        ("#" * 4_000_001, 1, "longer than 4 MB"),
        ("format = 1\nname = \x00", 2, "this is not TOML"),
        ('format = 1\nx = """\nabc', 3, "closing quote of a text is missing"),
        ("format = 1\r\nscenes = []\r\n", 2, "scenes: found an empty list"),
        ("[a]\nb = 1\n[a]\n", 3, "a second time"),
        ("# no rig\n\nscenes = 5\nformat = 1\n", 3, "scenes: found 5; allowed: a list"),
    ],
    ids=[
        "empty",
        "deep",
        "too deep to walk",
        "digits",
        "name",
        "escaped name",
        "900 digits",
        "hex",
        "parts",
        "long",
        "nul",
        "open text",
        "crlf",
        "twice",
        "number",
    ],
)
def test_a_text_that_is_no_rig_is_answered_with_a_line(text: str, line: int, words: str) -> None:
    """A text that is not a rig at all is rejected by line with a sentence, whatever it contains."""
    with pytest.raises(RigError) as caught:
        read(text, "x.toml")
    assert any(
        sentence.startswith(f"x.toml:{line}: ") and words in sentence for sentence in str(caught.value).splitlines()
    )


def test_lines_are_right_behind_every_kind_of_text() -> None:
    """Multi-line texts, comments, quoted and dotted keys do not shift the line number of what follows (TOML 1.0)."""
    head = 'rig.name = """\nA "band" # [x]\n"""\n# { [\n"rig".\'start\' = \'\'\'\nlast\'\'\' # "\n'
    (wrong,) = [problem for problem in problems(head + RIG.replace("[rig]", "[rigg]")) if problem.key == "rigg"]
    assert wrong.line == head.count("\n") + 3


def test_a_byte_order_mark_is_no_error(tmp_path: Path) -> None:
    """A file that begins with a byte order mark loads."""
    path = tmp_path / "pit.toml"
    path.write_bytes(b"\xef\xbb\xbf" + RIG.encode())
    assert load(path).rig.name == "Pit"


def test_a_file_that_is_not_utf8_is_reported_with_its_line(tmp_path: Path) -> None:
    """A file in another encoding is rejected with the line of the first invalid byte."""
    path = tmp_path / "pit.toml"
    path.write_bytes(RIG.replace("Pit", "Fosse é").encode("latin-1"))
    assert refused(path) == f"{path}:4: this is not UTF-8 text; save the file as UTF-8"


@pytest.mark.parametrize("half", [0xDCFF, 0xD800])
def test_a_text_that_no_file_can_hold_is_reported_with_its_line(half: int) -> None:
    """A lone surrogate, which a shell or a program may pass on, is rejected: the file would not load again."""
    (problem,) = problems(RIG.replace("Finale", f"Finale {chr(half)}"))
    line = RIG[: RIG.index("Finale")].count("\n") + 1
    assert str(problem).startswith(f"pit.toml:{line}: this line contains half a character")


def test_a_missing_file_and_a_folder_are_reported(tmp_path: Path) -> None:
    """A path without a file, of a folder, or that no system can have is rejected by name with the remedy."""
    none = tmp_path / "none.toml"
    assert refused(none) == f"{none}: there is no such file; make one with: bayleaf new {none}"
    assert refused(tmp_path).startswith(f"{tmp_path}: this is a folder")
    assert "cannot be read" in refused(tmp_path / "a\0b")


def test_a_file_that_may_not_be_read_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that may not be read is rejected with the system's own words."""

    def forbidden(path: Path, flags: int) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", forbidden)
    assert "the file cannot be read: Permission denied" in refused(tmp_path / "pit.toml")


def test_a_good_rig_needs_no_slow_parser() -> None:
    """Loading a good rig does not import the TOML editor, which would take ten times as long as all the rest."""
    code = (
        f"import sys\nfrom engine.rig.read.load import read\nread({RIG!r}, 'x')\nassert 'tomlkit' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_great_rig_loads() -> None:
    """64 scenes of 20 routes with 3 filters each load, and all of them are there."""
    route = (
        '  { from = "keys", to = "drums", through = [ { filter = "channels", keep = [1] },'
        ' { filter = "transpose", semitones = 1 }, { filter = "velocity", range = [1, 100] } ] },\n'
    )
    scenes = "".join(f'[[scenes]]\nnumber = {100 + n}\nname = "S{n}"\nroutes = [\n{route * 20}]\n' for n in range(64))
    rig = read(RIG + scenes, "pit.toml")
    assert sum(len(one.through) for scene in rig.scenes[2:] for one in scene.routes) == 64 * 20 * 3


def test_the_first_hundred_mistakes_are_listed_with_the_number_of_the_others() -> None:
    """A rig with thousands of mistakes lists a hundred, in the order of the file, and counts the rest."""
    unknown = "".join(f"[unknown-{number}]\nx = 1\n" for number in range(500))
    with pytest.raises(RigError) as caught:
        read(RIG + unknown, "x.toml")
    lines = str(caught.value).splitlines()
    assert len(lines) == 101
    assert len(caught.value.problems) == 100
    assert [problem.line for problem in caught.value.problems] == sorted(p.line for p in caught.value.problems)
    assert lines[-1] == f"x.toml: and {caught.value.more} more mistakes; correct these first"
    assert caught.value.more == 400


def test_a_rig_error_survives_its_way_between_processes() -> None:
    """What is read in another process is reported as if it had been read here."""
    with pytest.raises(RigError) as caught:
        read(RIG + "[x]\n", "x.toml")
    back = pickle.loads(pickle.dumps(caught.value))
    assert (back.problems, back.more, str(back)) == (caught.value.problems, caught.value.more, str(caught.value))


@pytest.mark.parametrize("kind", ["pipe", "folder", "endless", "long"])
def test_only_a_regular_file_of_limited_length_is_read(tmp_path: Path, kind: str) -> None:
    """A pipe would wait for ever, and /dev/zero never ends."""
    path = tmp_path / "rig.toml"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "endless":
        path.symlink_to("/dev/zero")
    else:
        path.write_bytes(b"#" * 4_000_001)
    with pytest.raises(RigError, match=r"folder|regular file|longer than 4 MB"):
        load(path)
    with pytest.raises(SoundListError):
        sound_list(path.name, tmp_path)

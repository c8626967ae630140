"""Every way we could think of to break what format 2 says of inputs, instruments, sounds and chains, and the sentence
that reports it."""

import pytest

from engine.rig.read.load import RigError, read
from tests.support.broken_rig_2 import Break, broken, check
from tests.support.plain_rig_2 import RIG_2

BREAKS: list[tuple[str, str, list[tuple[int, str, str]]]] = [
    # the format
    (
        'middle_c = "C3"',
        'middle_c = "C2"',
        [(5, "rig.middle_c", 'found "C2"; allowed: "C3", "C4" or "C5"')],
    ),
    ('middle_c = "C3"', "middle_c = 3", [(5, "rig.middle_c", 'found 3; allowed: "C3", "C4" or "C5"')]),
    # inputs and instruments
    (
        'stop    = ["program", "bank"]',
        'stop    = ["programs", "bank"]',
        [(9, "inputs.keys.stop", '"bank" or "all notes off"; "programs" is not')],
    ),
    ('stop    = ["program", "bank"]', 'stop    = "program"', [(9, "inputs.keys.stop", "allowed: a list of kinds of")]),
    (
        'stop    = ["program", "bank"]',
        "stop    = []",
        [(9, "inputs.keys.stop", "found an empty list; allowed: a list")],
    ),
    (
        "drop = [7]",
        "dorp = [7]",
        [(10, "inputs.keys.through.2.dorp", 'unknown key "dorp"; did you mean "drop"? allowed here: filter, keep')],
    ),
    (
        'through = [{ filter = "velocity", fixed = 90 }]',
        'through = { filter = "velocity", fixed = 90 }',
        [(22, "instruments.bass-box.through", "found one table; allowed: a list of tables")],
    ),
    ("drums   = true", 'drums   = "yes"', [(28, "instruments.old-synth.drums", 'found "yes"; allowed: true or false')]),
    (
        'setup   = ["program 0"]',
        'setup   = ["program 128"]',
        [(30, "instruments.old-synth.setup.1", 'found "program 128"; allowed: program 0 to 127, for programs count')],
    ),
    (
        'setup   = ["program 0"]',
        'setup   = ["volume 128"]',
        [(30, "instruments.old-synth.setup.1", 'found "volume 128"; allowed: "volume 0" to "127"')],
    ),
    (
        'setup   = ["program 0"]',
        'setup   = ["volume 128", "pann 3", "F0 7D", "program 0"]',
        [
            (30, "instruments.old-synth.setup.1", 'found "volume 128"; allowed: "volume 0" to "127"'),
            (30, "instruments.old-synth.setup.2", 'found "pann 3"; did you mean "pan 0"? allowed: "GM on", "GM off"'),
            (30, "instruments.old-synth.setup.3", 'found "F0 7D"; did you mean "F0 7D 01 F7"? allowed: "GM on"'),
        ],
    ),
    # sounds
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ settle = "80 ms" }',
        [
            (
                23,
                "instruments.bass-box.sounds.Fretless",
                "settle; a sound takes program, or send, or both: send goes first",
            )
        ],
    ),
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ send = ["F0 7D 01 F7"], bank = [1, 0] }',
        [(23, "instruments.bass-box.sounds.Fretless", "bank goes with program; leave it out, or select the bank in")],
    ),
    (
        '{ send = ["F0 7D 01 F7"], settle = "80 ms" }',
        '{ send = ["F0 7D 01"], settle = "80 ms" }',
        [(23, "instruments.bass-box.sounds.Fretless.send.1", 'found "F0 7D 01"; did you mean "F0 7D 01 F7"?')],
    ),
    (
        '"80 ms"',
        "80",
        [
            (
                23,
                "instruments.bass-box.sounds.Fretless.settle",
                "found 80; allowed: a time with its unit, up to a minute",
            )
        ],
    ),
    # chains
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        '"soft" = { filter = "velocity", curve = -20 }',
        [(33, "chains.soft", "found one table; allowed: a list of tables")],
    ),
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        '"soft" = ["left hand"]',
        [(33, "chains.soft", 'a circle: "soft" in "left hand" in "soft"; a chain cannot be in itself, so take one')],
    ),
    (
        '["soft", { filter = "zone", notes = "..B2" }]',
        '["sfot", { filter = "zone", notes = "..B2" }]',
        [(34, 'chains."left hand".1', 'there is no chain "sfot"; did you mean "soft"? there are: soft, left hand')],
    ),
    (
        'through = ["left hand"]',
        'through = ["lefthand"]',
        [(45, "scenes.1.play.2.through.1", 'there is no chain "lefthand"; did you mean "left hand"? there are: soft')],
    ),
    (
        'through = ["left hand"]',
        'through = ["zone"]',
        [(45, "scenes.1.play.2.through.1", 'there is no chain "zone"; for the filter write { filter = "zone" }')],
    ),
    (
        'through = ["left hand"]',
        "through = [5]",
        [(45, "scenes.1.play.2.through.1", "found 5; allowed: a table")],
    ),
    (
        '"left hand" = ["soft", { filter = "zone", notes = "..B2" }]',
        '"left hand" = [' + '"soft", ' * 257 + "]",
        [(34, 'chains."left hand"', "with the chains in it this one has more than 256 filters and names; make it")],
    ),
    (
        '"soft" = [{ filter = "velocity", curve = -20 }]',
        "\n".join(f'"e{each}" = ["e{each + 1}", "e{each + 1}"]' for each in range(60))
        + '\n"e60" = []\n"soft" = ["e0"]',
        [(33, "chains.e0", "with the chains in it this one has more than 256 filters and names; make it shorter")],
    ),
    (
        'through = ["left hand"]',
        "through = [" + '"left hand", ' * 100 + "]",
        [(45, "scenes.1.play.2.through", "the chains in it have more than 256 filters and names; make it shorter")],
    ),
]


@broken(BREAKS)
def test_each_break_is_reported_by_line_key_and_sentence(found: Break) -> None:
    """A rig with one error is rejected with exactly that error: its line, its key, and a sentence."""
    check(found)


def test_in_format_1_each_key_of_format_2_is_reported_with_the_format_that_it_needs() -> None:
    """Nothing of it is taken for something else."""
    with pytest.raises(RigError) as caught:
        read(RIG_2.replace("format = 2", "format = 1"), "pit.toml")
    keys = {
        "rig.middle_c",
        "inputs.keys.stop",
        "inputs.keys.through",
        "instruments.bass-box.through",
        "instruments.bass-box.sounds.Fretless.send",
        "instruments.bass-box.sounds.Fretless.settle",
        "instruments.old-synth.drums",
        "chains",
        *(f"scenes.1.{key}" for key in ("cue", "text", "tempo", "transpose", "play", "enter", "leave")),
        *(f"scenes.2.{key}" for key in ("cue", "like", "play")),
    }
    assert {problem.key for problem in caught.value.problems} == keys
    assert {problem.text for problem in caught.value.problems} == {
        "this key needs format = 2 in the first line of the file; it says 1"
    }

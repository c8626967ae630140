"""Figures of the handbook that are constants of the code are the same in both. What they do is tested elsewhere."""

import inspect
from typing import Final

import pytest

from engine import fault_log, handbook
from engine.cli.commands import panel as panel_command
from engine.cli.commands import run as run_command
from engine.cluster.endpoints import remote_machines
from engine.cluster.link import certificate_authority, certificates, limited_traffic, settings
from engine.cluster.pure import leadership
from engine.core import feedback as feedback_core
from engine.core.cable import queues, receiver_state
from engine.core.control import remote_commands, remote_messages
from engine.core.routing import active_sensing, loops
from engine.live import port_bank, reader
from engine.live.edit import remote_work, rig_session
from engine.live.process import worker_process
from engine.live.recorder import FlightRecorder
from engine.live.socket import osc, osc_packets, osc_telling, request_lines
from engine.panel import browser_socket, live_places, paired_browsers, places, rate_limit, shared_looks
from engine.ports import driver_limits, rtmidi_port
from engine.protocol import LONGEST_REQUEST, look_requests
from engine.rig.edit import versions
from engine.rig.models import control, feedback, values
from engine.rig.models.control import Control
from engine.rig.read import toml_limits

_SECOND: Final = 1_000_000_000  # ns
_MS: Final = 1_000_000
_MB: Final = 1 << 20
_WORDS: Final = {
    4: "four",
    8: "eight",
    10: "ten",
    16: "sixteen",
    20: "twenty",
    2: "two",
    5: "five",
    30: "thirty",
    50: "fifty",
    60: "sixty",
    80: "eighty",
    1000: "a thousand",
}


def _a_minute(pace: rate_limit.RatePace) -> int:
    return round(60 / pace.seconds)


#: page, words with a place for each figure, the code's figures; `{:w}` is a number in words
FIGURES: Final = [
    ("cables-and-bursts", "some {:,} notes", (queues.MOST_NOTES // 1000 * 1000,)),
    ("cables-and-bursts", "up to {:w} releases of each key", (queues.MOST_RELEASES,)),
    ("commands", "{} by default; 0 takes a free port", (panel_command.PORT,)),
    ("controls", "({} ms by default", (Control.model_fields["guard"].default // _MS,)),
    ("controls", '`hold = "{} ms"`', (Control.model_fields["hold"].default // _MS,)),
    ("controls", '`between = "{} ms"`', (Control.model_fields["between"].default // _MS,)),
    ("editing-and-saving", "the last {} live edits", (rig_session._UNDO,)),
    ("editing-and-saving", "{} MB of rig text", (rig_session._UNDO_BYTES // _MB,)),
    ("editing-and-saving", "{:w} versions are kept", (versions.KEPT,)),
    ("front-panel", "A pairing lasts {:w} days", (paired_browsers.LASTS // 86400,)),
    ("front-panel", "which last {:w} minutes", (paired_browsers.CODES_LAST // 60,)),
    ("front-panel", "At most {} browsers are paired", (paired_browsers._MOST,)),
    (
        "front-panel",
        "{:w} tries a minute count; {:w} of these, and {:,} at once",
        (
            _a_minute(rate_limit._ALL) + _a_minute(rate_limit._NEWCOMERS),
            _a_minute(rate_limit._NEWCOMERS),
            rate_limit._NEWCOMERS.at_once,
        ),
    ),
    (
        "front-panel",
        "{:w} connections, and all machines that are not paired {}; a request must be complete within {:w} seconds",
        (places._OF_AN_ADDRESS, places._MOST["stranger"], places._PATIENCE),
    ),
    (
        "front-panel",
        "in {} windows at once: {:w} for each pairing, {} for browsers that may only view, {} for other machines",
        (live_places._MOST, live_places._OF_A_PAIRING, live_places._OF_VIEWERS, live_places._OF_OTHERS),
    ),
    ("front-panel", "{:w} unread answers", (browser_socket._MOST_NEWS,)),
    ("limits", "takes longer than {} ms", (loops.WINDOW // _MS,)),
    ("limits", "up to {:,} messages per second", (_SECOND // reader._EACH,)),
    ("limits", "up to {:,} at once", (reader._MOST,)),
    ("limits", "up to {:,} messages of an ALSA", (rtmidi_port.QUEUE - 1,)),
    ("limits", "at most {} tallies and {} displays", (feedback.MOST_TALLIES, feedback.MOST_DISPLAYS)),
    ("limits", "looked at {:w} times per second", (_SECOND // feedback_core._LOOK_AGAIN,)),
    ("limits", "longer than {} KB", (request_lines.SHORT >> 10,)),
    ("limits", "A request of more than {} MB", (LONGEST_REQUEST >> 20,)),
    ("limits", "a regular file of at most {} MB", (toml_limits.LONGEST_TEXT // 1_000_000,)),
    ("limits", "at most {} parts", (toml_limits._MOST_PARTS,)),
    ("limits", "at most {} deep", (toml_limits._DEEPEST,)),
    ("limits", "at most {:,} characters", (values.LONGEST_NAME,)),
    (
        "limits",
        "which may take {} seconds and {} GB of memory",
        (worker_process._TIME, worker_process._MEMORY // (1 << 30)),
    ),
    (
        "limits",
        "{} times per second, and {} times at once",
        (remote_commands.REQUESTS_A_SECOND, remote_commands.REQUESTS_AT_ONCE),
    ),
    ("limits", "A request by SysEx has at most {} bytes", (remote_messages.LONGEST_REQUEST,)),
    ("limits", "Up to {:,} blocks wait", (remote_commands.MOST_WAITING,)),
    ("limits", "left out for {:w} seconds", (limited_traffic.PAUSE,)),
    ("limits", "at most {} kB", (settings.LARGEST_WORD // 1024,)),
    ("limits", "from its inputs {:.1f} MB", (settings.LARGEST_EVENT / 1e6,)),
    ("limits", "any message between machines {} MB", (settings.LARGEST // _MB,)),
    ("limits", "at most {} times per second", (_SECOND // leadership.ASK_AGAIN,)),
    ("limits", "up to {:,} ports", (remote_machines._MOST_PORTS,)),
    ("limits", "at most {:w} per second", (round(1 / shared_looks._PACE),)),
    ("limits", "up to {:,} bytes", (look_requests._TRACED // 3,)),
    ("limits", "more than {:w} edits", (shared_looks._BACK,)),
    ("monitoring", "about {} MB", (inspect.signature(FlightRecorder).parameters["most_bytes"].default // _MB,)),
    ("osc", "at most {} (format 2)", (control._MOST_TARGETS,)),
    ("osc", "{} seconds ahead, and {} messages may wait", (osc.FURTHEST, osc.MOST_WAITING)),
    ("osc", "At most {:w} messages per second are read, and {} in one", (round(1 / osc._PACE), osc_packets.MOST)),
    ("osc", "commands {} per second are obeyed, and {} at once", (osc.COMMANDS_A_SECOND, osc.COMMANDS_AT_ONCE)),
    ("osc", "up to {:w} times per second", (round(1 / osc_telling._PERIOD),)),
    ("ports", "{:w} times per second", (_SECOND // active_sensing.SENT_EVERY,)),
    ("ports", "silent for {} ms", (active_sensing.JUDGED_AFTER // _MS,)),
    (
        "ports",
        "has had {} ms to pass that on; if the cable is still busy after {:w} seconds",
        (round(port_bank.DRIVERS_TAKE * 1000), port_bank._FAREWELL // _SECOND),
    ),
    ("several-machines", "expires within {:w} days", (certificates._SOON.days,)),
    ("several-machines", "valid for {:w} years", (certificate_authority._YEARS.days // 365,)),
    ("several-machines", "silent for {} ms counts as gone", (settings.LEASE_MS,)),
    ("standby", "the last {} ms of it", (receiver_state.YOUNG // _MS,)),
    ("troubleshooting", "at most {} MB", (fault_log._LARGEST // 1_000_000,)),
    *(
        (page, "({:,} bytes on JACK, {:,} on ALSA)", (driver_limits.LONGEST["jack"], driver_limits.LONGEST["alsa"]))
        for page in ("limits", "ports")
    ),
]


class Figure(float):
    """A number that can be written as a word."""

    def __format__(self, how: str) -> str:
        if how == "w":
            return _WORDS[int(self)]
        return format(float(self) if how.endswith("f") else int(self), how)


@pytest.mark.parametrize(("page", "words", "figures"), FIGURES, ids=[f"{page}: {words}" for page, words, _ in FIGURES])
def test_a_figure_is_the_code_s(page: str, words: str, figures: tuple[float, ...]) -> None:
    """The page says it with the code's own number."""
    text = " ".join(handbook.pages()[page].text.split())
    assert words.format(*map(Figure, figures)).casefold() in text.casefold()


def test_it_ends_within_five_seconds() -> None:
    """From the first signal a show has less than five seconds before its process is ended; so the page says."""
    assert "It ends within five seconds" in " ".join(handbook.pages()["running"].text.split())
    assert 4 < run_command._END_WITHIN < 5


def test_after_what_comes_over_midi_the_next_waits() -> None:
    """A second after a rig, a tenth of a second after a route: the page says it in words."""
    said = "After a rig that came over MIDI the next one waits for a second, and after a route for a tenth of a second."
    assert said in " ".join(handbook.pages()["limits"].text.split())
    assert (remote_work._AFTER_RESTORE, remote_work._AFTER_ROUTE) == (1.0, 0.1)

"""The codes of answers: one short word for each thing that can become of a request, for programs to decide by."""

from enum import StrEnum


class AnswerCode(StrEnum):
    """What became of a request. The words are stable; the sentences beside them may change."""

    DONE = "done"
    UNCHANGED = "unchanged"  # it is so already

    # The request
    BAD_REQUEST = "bad-request"  # a field is missing, unknown or out of range
    UNKNOWN_REQUEST = "unknown-request"
    NOT_ALLOWED = "not-allowed"  # not from this browser, from no browser, or not over MIDI
    TOO_MANY = "too-many"  # more requests at once than are taken
    BUSY = "busy"  # the same thing is under way for somebody else, or a cable is full

    # What it names
    UNKNOWN_SCENE = "unknown-scene"
    UNKNOWN_ENTRY = "unknown-entry"
    UNKNOWN_SETLIST = "unknown-setlist"
    UNKNOWN_SONG = "unknown-song"
    UNKNOWN_PLAYER = "unknown-player"
    UNKNOWN_ROUTE = "unknown-route"
    UNKNOWN_INPUT = "unknown-input"
    UNKNOWN_OUTPUT = "unknown-output"
    UNKNOWN_INSTRUMENT = "unknown-instrument"
    UNKNOWN_SOUND = "unknown-sound"
    NOT_IN_RIG = "not-in-rig"  # the rig has no clock, time code, network or request of this kind
    MISSING_PORT = "missing-port"

    # The show
    NOT_LEADER = "not-leader"  # another engine of the network is in charge
    END_OF_SETLIST = "end-of-setlist"
    NOT_POSSIBLE = "not-possible"  # not as the show is now

    # Edits and files
    INVALID_RIG = "invalid-rig"
    OUTDATED = "outdated"  # the rig has changed since the asker read it
    NOTHING_TO_UNDO = "nothing-to-undo"
    NOTHING_TO_REDO = "nothing-to-redo"
    CONFLICT = "conflict"  # the file has changed since it was read; choose which text is kept
    FILE_MISSING = "file-missing"
    FILE_FAILED = "file-failed"  # a file could not be read or written

    # Instruments
    NO_ANSWER = "no-answer"
    STOPPED = "stopped"  # by the asker
    INTERRUPTED = "interrupted"  # a message was lost on the way

    # Who should answer
    NO_ENGINE = "no-engine"
    OWN_FAULT = "own-fault"  # a fault of Bayleaf itself

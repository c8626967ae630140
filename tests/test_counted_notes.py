"""The count of notes that the tests of takeover rely on. (Our own rules.)"""

from tests.support.counted_notes import Count, Log, count

BEACONS: Log = [(number * 0.004, bytes((0xBF, 20 + number // 128, number % 128))) for number in range(500)]
NOTES: Log = [(number * 0.01, bytes((0x90, 60, 1 + number % 127))) for number in range(100)]
RELEASES: Log = [(at + 0.005, bytes((0x80, 60, 64))) for at, _ in NOTES]
PLAYED: Log = sorted([*BEACONS, *NOTES, *RELEASES])


def test_what_stands_still_is_late() -> None:
    """What arrives after the computer has stood still for 0.7 s is late, and neither lost nor doubled."""
    heard = [(max(at, 1.2) if at >= 0.5 else at, message) for at, message in PLAYED]
    assert count(PLAYED, heard) == Count(100, [], 0, 0, 0, 1.2 - 0.5)


def test_what_arrives_twice_is_doubled() -> None:
    """Of ten milliseconds that arrive again within a third of a second, the note and each beacon are doubled."""
    again = [(at + 0.3, message) for at, message in PLAYED if 0.5 <= at < 0.51 and message[0] != 0x80]
    found = count(PLAYED, sorted([*PLAYED, *again]))
    assert (found.doubled, found.beacons_doubled, found.lost) == (1, 3, [])


def test_what_never_arrives_is_lost() -> None:
    """It is reported by when it was played."""
    heard = [each for each in PLAYED if not 0.5 <= each[0] < 0.52]
    assert count(PLAYED, heard).lost == [0.5, 0.51]

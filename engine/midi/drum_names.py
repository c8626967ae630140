"""The names of a drum kit's keys on channel 10.

Keys 35 to 81: General MIDI System Level 1 (RP-003, Table 3: percussion key map); 27 to 34 and 82 to 87: the standard
kit of General MIDI 2 (version 1.2a).
"""

from typing import Final

CHANNEL: Final = 9  # channel 10, counted from 0
_FIRST: Final = 27
_NAMES: Final = (
    "High Q",
    "Slap",
    "Scratch Push",
    "Scratch Pull",
    "Sticks",
    "Square Click",
    "Metronome Click",
    "Metronome Bell",
    "Acoustic Bass Drum",
    "Bass Drum 1",
    "Side Stick",
    "Acoustic Snare",
    "Hand Clap",
    "Electric Snare",
    "Low Floor Tom",
    "Closed Hi Hat",
    "High Floor Tom",
    "Pedal Hi-Hat",
    "Low Tom",
    "Open Hi-Hat",
    "Low-Mid Tom",
    "Hi Mid Tom",
    "Crash Cymbal 1",
    "High Tom",
    "Ride Cymbal 1",
    "Chinese Cymbal",
    "Ride Bell",
    "Tambourine",
    "Splash Cymbal",
    "Cowbell",
    "Crash Cymbal 2",
    "Vibraslap",
    "Ride Cymbal 2",
    "Hi Bongo",
    "Low Bongo",
    "Mute Hi Conga",
    "Open Hi Conga",
    "Low Conga",
    "High Timbale",
    "Low Timbale",
    "High Agogo",
    "Low Agogo",
    "Cabasa",
    "Maracas",
    "Short Whistle",
    "Long Whistle",
    "Short Guiro",
    "Long Guiro",
    "Claves",
    "Hi Wood Block",
    "Low Wood Block",
    "Mute Cuica",
    "Open Cuica",
    "Mute Triangle",
    "Open Triangle",
    "Shaker",
    "Jingle Bell",
    "Bell Tree",
    "Castanets",
    "Mute Surdo",
    "Open Surdo",
)


#: the keys of General MIDI's own map; the others came with General MIDI 2
_GM_1: Final = range(35, 82)


def drum(key: int, gm_2: bool = False) -> str | None:
    """The drum on a key of 0 to 127; None for a key that General MIDI, or General MIDI 2, leaves undefined."""
    place = key - _FIRST
    return _NAMES[place] if 0 <= place < len(_NAMES) and (gm_2 or key in _GM_1) else None

"""The options and arguments that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

Json = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
Name = Annotated[str, typer.Option("--name", help="Name of the engine, if more than one is running.")]
Player = Annotated[
    str, typer.Option("--player", help="A player of the rig with scenes of their own. Default: whoever it concerns.")
]
Number = Annotated[int, typer.Argument(help="Number of the scene.")]
RigFile = Annotated[Path, typer.Argument(help="The rig file.")]
Backend = Annotated[
    str | None,
    typer.Option("--backend", help="MIDI system: alsa, jack, coremidi, winmm or memory. Default: this computer's own."),
]
Machine = Annotated[
    str | None,
    typer.Option("--machine", help="Which machine of the rig's [network] this is. Default: the one the file names."),
]
Virtual = Annotated[
    bool, typer.Option("--virtual", help="Create a virtual port for each port of the rig, for other programs to use.")
]

"""`bayleaf ports`: lists the MIDI ports of this computer."""

from engine.cli.options import Backend, Json
from engine.cli.output import as_json, table
from engine.ports.open_system import open_system


def ports(backend: Backend = None, json: Json = False) -> None:
    """List the MIDI ports of this computer."""
    inputs, outputs = port_names(backend)
    if json:
        as_json({"inputs": inputs, "outputs": outputs})
        return
    for title, names in (("Inputs", inputs), ("Outputs", outputs)):
        table(("name",), [(name,) for name in names] or [("none found",)], title=title)


def port_names(backend: str | None) -> tuple[list[str], list[str]]:
    """The inputs and the outputs of a MIDI system; None is this computer's own."""
    system = open_system(backend, "bayleaf")
    try:
        return system.inputs(), system.outputs()
    finally:
        system.close()

"""`bayleaf ports`: lists the MIDI ports of this computer, and its keyboards."""

from engine.cli.options import Backend, Json
from engine.cli.output import as_json, table
from engine.ports.open_system import keyboards, open_system


def ports(backend: Backend = None, json: Json = False) -> None:
    """List the MIDI ports of this computer, and its keyboards."""
    inputs, outputs = port_names(backend)
    boards = [each.name for each in keyboards()]
    if json:
        as_json({"inputs": inputs, "outputs": outputs, **({"keyboards": boards} if boards else {})})
        return
    for title, names in (("Inputs", inputs), ("Outputs", outputs), *((("Keyboards", boards),) if boards else ())):
        table(("name",), [(name,) for name in names] or [("none found",)], title=title)


def port_names(backend: str | None) -> tuple[list[str], list[str]]:
    """The inputs and the outputs of a MIDI system; None is this computer's own."""
    system = open_system(backend, "bayleaf")
    try:
        return system.inputs(), system.outputs()
    finally:
        system.close()

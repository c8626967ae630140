"""`bayleaf ports`: lists the MIDI ports of this computer, and its keyboards."""

from engine.cli.options import Backend, Json
from engine.cli.output import as_json, print_line, say, table
from engine.ports.open_system import keyboards, open_system


def ports(backend: Backend = None, json: Json = False) -> None:
    """List the MIDI ports of this computer, and its keyboards."""
    system = open_system(backend, "bayleaf", say)
    try:
        inputs, outputs = system.inputs(), system.outputs()
    finally:
        system.close()
    boards = [each.name for each in keyboards()]
    if json:
        as_json({"inputs": inputs, "outputs": outputs, **({"keyboards": boards} if boards else {})})
        return
    for title, names in (("Inputs", inputs), ("Outputs", outputs), *((("Keyboards", boards),) if boards else ())):
        table(("name",), [(name,) for name in names] or [("none found",)], title=title)
    options = f" --backend {backend}" if backend else ""
    print_line(f"To write a first rig with these ports: bayleaf new{options}")

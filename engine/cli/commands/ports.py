"""`bayleaf ports`: lists the MIDI ports of this computer."""

from engine.cli.options import Backend, Json
from engine.cli.output import as_json, print_line, say, table
from engine.ports.open_system import open_system


def ports(backend: Backend = None, json: Json = False) -> None:
    """List the MIDI ports of this computer."""
    system = open_system(backend, "bayleaf", say)
    try:
        inputs, outputs = system.inputs(), system.outputs()
    finally:
        system.close()
    if json:
        as_json({"inputs": inputs, "outputs": outputs})
        return
    for title, names in (("Inputs", inputs), ("Outputs", outputs)):
        table(("name",), [(name,) for name in names] or [("none found",)], title=title)
    options = f" --backend {backend}" if backend else ""
    print_line(f"To write a first rig with these ports: bayleaf new{options}")

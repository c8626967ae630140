"""Put a new text into a file at once, so that whoever watches it never reads half of it."""

from pathlib import Path


def replace_file(file: Path, text: str) -> None:
    """The file holds this text; before, whole, it held the other."""
    new = file.with_suffix(".new")
    new.write_text(text, encoding="utf-8")
    new.replace(file)

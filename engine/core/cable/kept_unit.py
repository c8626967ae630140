"""A unit of values that keeps its place; a module of its own, since a subclass of `tuple` cannot be compiled."""


class KeptUnit(tuple[bytes, ...]):
    """Messages that keep their place before the notes that come later, although they are values."""

    __slots__ = ()

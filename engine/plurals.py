"""A number with its noun, singular or plural."""


def counted(count: int, noun: str, *, zero: str = "0") -> str:
    """ "1 output", "1,200 outputs"; `zero` is the word for none, such as "no"."""
    return f"{f'{count:,}' if count else zero} {noun}{'' if count == 1 else 's'}"

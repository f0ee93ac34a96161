"""Whether a stored number changed, apart from rounding errors."""


def is_same(before: object, after: object) -> bool:
    """Equal, or numbers with a relative difference of at most 1e-9.

    >>> is_same(0.1 + 0.2, 0.3), is_same(1.0, 1.001), is_same(None, 1.0)
    (True, False, False)
    """
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= 1e-9 * max(abs(before), abs(after))
    return before == after

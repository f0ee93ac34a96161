"""Whether a stored number moved: apart from the last digits of a floating-point number."""


def is_same(before: object, after: object) -> bool:
    """Equal, or numbers that differ by no more than one part in a thousand million.

    >>> is_same(0.1 + 0.2, 0.3), is_same(1.0, 1.001), is_same(None, 1.0)
    (True, False, False)
    """
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= 1e-9 * max(abs(before), abs(after))
    return before == after

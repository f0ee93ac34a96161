"""Limits the number of malloc arenas of the GNU C library.

The library gives concurrent threads an arena each, up to eight per processor, and memory freed in one cannot be used by
threads of another. Any server thread answers any request, so every arena grows to the needs of the most demanding
request, and the process keeps growing with use.
"""

import ctypes

HEAPS = 2  # the interpreter runs one thread at a time; the second arena is for threads that wait for the database
_M_ARENA_MAX = -8  # of <malloc.h>


def limit_malloc_arenas() -> bool:
    """Limits the arenas of this process; False if the C library has no such limit.

    Call it before threads start, because existing arenas stay.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # another C library or operating system
        return False
    return bool(mallopt(_M_ARENA_MAX, HEAPS))

"""Keeps a server from holding the free memory of many threads, each in a heap of its own.

The GNU C library gives threads that ask at the same time a heap each, up to eight a processor, and what is freed in one
is of no use to the threads of another. Any thread of a server answers any request, so that each heap in turn grows to
what its most demanding requests needed and keeps it: a server grew for as long as it was used, though the program held
no more than before.
"""

import ctypes

HEAPS = 2  # the interpreter lets one thread compute at a time; the other heap is for who waits for the store meanwhile
_M_ARENA_MAX = -8  # of <malloc.h>


def limit_malloc_arenas() -> bool:
    """Bounds the heaps of this process; False where the C library knows no such bound.

    To be called before many threads work: a heap that is there stays.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # another C library, another system
        return False
    return bool(mallopt(_M_ARENA_MAX, HEAPS))

"""Kills a process at one chosen point of the program: before or after a call of one of its functions.

A child process replaces the function by one that ends the child with SIGKILL, so the program needs no hook of its own.
"""

import os
import signal
from collections.abc import Callable
from importlib import import_module
from typing import Any

_NOT_REACHED = 7


def killed(act: Callable[[], object], point: str, *, after: bool = False, nth: int = 1, when: Any = None) -> None:
    """Runs `act` in a child process that is killed at a point; fails where the point is never reached.

    point : `module:name` or `module:Class.name` of the function; after : when it has returned, otherwise before it runs
    nth : at which call of those that count; when : says by its arguments whether a call counts, None: each does
    """
    child = os.fork()
    if child == 0:
        try:
            _put_kill(point, after, nth, when)
            act()
        finally:
            os._exit(_NOT_REACHED)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), f"{point} was called less than {nth} times"
    assert os.WTERMSIG(status) == signal.SIGKILL


def _put_kill(point: str, after: bool, nth: int, when: Callable[..., bool] | None) -> None:
    module, _, path = point.partition(":")
    holder: Any = import_module(module)
    *classes, name = path.split(".")
    for each in classes:
        holder = getattr(holder, each)
    real, calls = getattr(holder, name), 0

    def call(*given: Any, **named: Any) -> Any:
        nonlocal calls
        counts = when is None or when(*given, **named)
        calls += counts
        last = counts and calls == nth
        if last and not after:
            os.kill(os.getpid(), signal.SIGKILL)
        answer = real(*given, **named)
        if last:
            os.kill(os.getpid(), signal.SIGKILL)
        return answer

    setattr(holder, name, call)

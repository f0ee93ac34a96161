"""A process with limited malloc arenas has two of them, however many threads allocate at once."""

import ctypes
import platform
import subprocess
import sys

import pytest

from app.web.process.malloc_arenas import HEAPS, limit_malloc_arenas

_MANY_THREADS = """
import os, sys, threading
from app.web.process.malloc_arenas import limit_malloc_arenas
from tests.faults.resource_use import heaps_of
if sys.argv[1] == "shared":
    assert limit_malloc_arenas()
together, looked = threading.Barrier(7), threading.Barrier(7)
def work():
    held = [bytes(2000) for _ in range(2000)]
    together.wait()
    looked.wait()
people = [threading.Thread(target=work) for _ in range(6)]
for person in people:
    person.start()
together.wait()
print(heaps_of(os.getpid()))
looked.wait()
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries have heaps not of type")
def test_threads_share_two_heaps():
    assert _heaps_with("shared") == HEAPS
    assert _heaps_with("each its own") > HEAPS


def test_a_c_library_without_such_a_bound_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(ctypes, "CDLL", lambda _name: object())
    assert limit_malloc_arenas() is False


def _heaps_with(how: str) -> int:
    said = subprocess.run([sys.executable, "-c", _MANY_THREADS, how], capture_output=True, text=True, check=True)
    return int(said.stdout)

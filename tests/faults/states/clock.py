"""A wall clock that a test sets: a small library, compiled here, adds seconds to what the system's clock says."""

import shutil
import subprocess
from pathlib import Path

_SOURCE = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/time.h>
#include <time.h>
static long shift(void) {
    long seconds = 0;
    FILE *file = fopen(getenv("SHIFTED_CLOCK"), "r");
    if (file) { if (fscanf(file, "%ld", &seconds) != 1) seconds = 0; fclose(file); }
    return seconds;
}
int clock_gettime(clockid_t which, struct timespec *now) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = dlsym(RTLD_NEXT, "clock_gettime");
    int result = real(which, now);
    if (which == CLOCK_REALTIME) now->tv_sec += shift();
    return result;
}
int gettimeofday(struct timeval *now, void *zone) {
    struct timespec exact;
    clock_gettime(CLOCK_REALTIME, &exact);
    now->tv_sec = exact.tv_sec; now->tv_usec = exact.tv_nsec / 1000;
    return 0;
}
time_t time(time_t *place) {
    struct timespec exact;
    clock_gettime(CLOCK_REALTIME, &exact);
    if (place) *place = exact.tv_sec;
    return exact.tv_sec;
}
"""


class ShiftedClock:
    """The environment of a process whose clock can be set, also while it runs."""

    def __init__(self, folder: Path) -> None:
        compiler = shutil.which("cc")
        assert compiler, "A C compiler is needed to set the clock of a process."
        source, library, self._file = folder / "clock.c", folder / "clock.so", folder / "clock.txt"
        source.write_text(_SOURCE)
        subprocess.run([compiler, "-shared", "-fPIC", "-o", str(library), str(source), "-ldl"], check=True)
        self.set(0)
        self.environment = {"LD_PRELOAD": str(library), "SHIFTED_CLOCK": str(self._file)}

    def set(self, seconds: int) -> None:
        """Seconds that the clock is ahead."""
        unfinished = self._file.with_suffix(".new")
        unfinished.write_text(str(seconds))
        unfinished.replace(self._file)

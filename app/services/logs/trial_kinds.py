"""The two kinds of trial."""

UNIT_RUNNING = "unit running"
EMPTY_ROOM = "empty room"
KINDS_OF_TRIAL = (UNIT_RUNNING, EMPTY_ROOM)

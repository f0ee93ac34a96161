"""Studies of results that rest on few trials or few empty-room runs."""

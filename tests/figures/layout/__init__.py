"""The layout step: nothing touches anything it does not name."""

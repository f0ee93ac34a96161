"""Studies of the interval of one decay rate; begin with `rate_efficiency.py`."""

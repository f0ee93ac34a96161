"""`hazefall watch`: follows a log file that grows, and sends its readings to a bench as a live run.

Begin with `command.py`; `followed_log.py` reads the file, `follow.py` sends what is new.
"""

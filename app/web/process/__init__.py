"""Settings of the server process: garbage collector and memory allocator.

Begin with `gc_settings.py`.
"""

"""The server process: garbage collector, memory allocator, slow connections, scheduled backups.

Begin with `gc_settings.py`.
"""

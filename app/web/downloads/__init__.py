"""What a download is made of: the registry of charts, parameters, response headers.

Begin with `chart_registry.py`.
"""

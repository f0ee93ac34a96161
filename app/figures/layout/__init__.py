"""Where everything of a chart goes, in pixels: one step for the page, SVG and PNG. No text touches other text or data.

Begin with `chart_layout.py`.
"""

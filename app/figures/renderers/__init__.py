"""A `Chart` as JSON for the browser, as SVG or PNG, or as a self-contained HTML file.

Begin with `plotly_chart.py` and `svg_chart.py`.
"""

"""Nouns to chart specifications: one Vega-Lite specification serves page, file and report.

Every function here is pure: a result goes in, a plain dict comes out. Only ``render`` knows a converter.
"""

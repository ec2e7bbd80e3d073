"""Drawings to scale and charts, as plain SVG that can be read in black and white.

`plan` draws bodies in millimetres with a scale bar; `chart` draws curves and ranges over axes.
Both give text and nothing else: they open no file and know no question.
"""

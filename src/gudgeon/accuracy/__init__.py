"""Accuracy: where a feature of the part really ends up, and how sure a dimension between two is.

Pure functions of numbers; lengths in mm, angles in rad, temperatures in K of difference.
"""

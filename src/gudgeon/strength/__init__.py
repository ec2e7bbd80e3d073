"""Strength: gravity torque of the load, brakes, bolted joints, cutting forces; closed forms only.

Pure functions of floats and arrays in mm, rad, kg, N, N m and MPa.
"""

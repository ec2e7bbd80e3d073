"""Kinematics of the cell: axis lines, turning, the chain that carries the work, the body tree."""

"""Quantities: read and shown with units at the edges, plain floats with a spread inside.

Import the module that is needed: `amount` (a float with its uncertainty), `text` (from and to what
people write; the only user of the units library), `show` (the shop's own units), `spread`
(propagation of uncertainty).  Nothing is imported here, so that start-up stays quick.
"""

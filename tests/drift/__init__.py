"""Tests of the engine that judges daily checks."""

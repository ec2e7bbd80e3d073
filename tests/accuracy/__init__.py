"""Tests of the accuracy engine."""

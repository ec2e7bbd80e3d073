"""Tests of the figures that are told about the product."""

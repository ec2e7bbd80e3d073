"""Tests of centre finding."""

"""Gudgeon: plain answers about a tilting rotary unit on a 3-axis vertical mill."""

__version__ = "0.1.0"

"""Seconds of moves: closed forms, a reference library, laws that hold for every input."""

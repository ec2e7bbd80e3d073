"""Sheets on paper: `matter` lays out what is said, `pdf` and `page` typeset it."""

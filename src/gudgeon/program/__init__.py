"""NC programs: text in, motion out, with the place of everything that is in doubt."""

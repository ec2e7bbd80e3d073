"""Finding the two axis lines from touches: by hand and by least squares, with uncertainty."""

"""Clearance that is proven: certified gaps between bodies over whole motions."""

"""Placing: flanges, slots, limits and heights of a unit on the table; pure geometry."""

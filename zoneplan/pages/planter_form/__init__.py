"""The form for a planter of one's own."""

"""A soil survey, in every shape it comes in."""

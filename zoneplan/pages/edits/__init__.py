"""What a person changes in a plan by hand: in a zone, at its edges, and what came of it."""

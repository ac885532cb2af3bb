"""The page to draw on: its map, what is drawn on it, and how that comes into a request."""

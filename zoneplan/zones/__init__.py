"""Ground to be treated alike."""

"""Two plans beside each other, as tables and as maps."""

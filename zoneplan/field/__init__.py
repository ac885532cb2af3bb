"""From files to ground we trust."""

"""The rules on their page: numbers to change, what is tried, and one's own files."""

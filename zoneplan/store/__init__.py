"""Requests and plans as JSON, and back; the saved plan."""

"""The zones as a task set for the cab, ISO 11783-10."""

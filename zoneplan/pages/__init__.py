"""The app: each page asks, calls one function, and shows."""

"""Rasters of texture and of heights, and what is read from them."""

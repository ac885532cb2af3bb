"""Changes by hand on the page of the field: in a zone, and at its edges."""

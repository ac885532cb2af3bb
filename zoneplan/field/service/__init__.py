"""Public services, asked only when a person says so: the soil survey, and heights."""

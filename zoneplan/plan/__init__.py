"""The plan: what each zone is told, and how that came about."""

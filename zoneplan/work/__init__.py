"""What one person asks of one field: files, answers, drawings, changes; and the plan of it."""

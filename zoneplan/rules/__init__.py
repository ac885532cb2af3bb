"""What to aim for: stored rules, their sources, and the choice they make."""

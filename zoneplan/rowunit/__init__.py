"""What one row unit weighs, carries and can do: numbers only, no maps."""

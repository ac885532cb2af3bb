"""What a soil is and how it answers an opener: numbers only, no maps."""

"""What is printed: figures and words to paper."""

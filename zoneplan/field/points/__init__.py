"""What was measured at points: texture, conductivity, and what lies between them."""

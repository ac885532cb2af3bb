"""What leaves the building: writes a finished Plan, decides nothing."""

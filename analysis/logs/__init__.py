"""What a log of a vehicle's bus tells of its starts."""

"""What comes: lows, what past no-starts taught, coldest starts and probabilities ahead."""

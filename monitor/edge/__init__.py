"""The outside world, one library behind each door."""

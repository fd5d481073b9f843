"""What the page of a room says beside its chart."""

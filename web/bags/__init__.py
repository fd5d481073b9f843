"""What the page of bags says."""

"""What-if as a page: its form, its words and its figure."""

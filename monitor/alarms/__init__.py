"""What deserves a person's attention, and the words for it; pure."""

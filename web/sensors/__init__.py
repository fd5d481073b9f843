"""Pages about sensors: their list, the guided check of each, side by side, corners of a box."""

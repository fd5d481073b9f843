"""From readings to what we believe; pure."""

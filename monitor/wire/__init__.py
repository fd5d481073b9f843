"""Bytes to model and back; pure."""

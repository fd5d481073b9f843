"""Ovens: supervision, rules and planning, pure."""

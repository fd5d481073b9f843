"""Formulas, and nothing but formulas: numbers in, numbers out."""

"""Ovens: supervision, rules and planning as pure functions. Nothing here touches the world."""

"""The worker's own work: it owns all mutable state."""

"""sorbwatch: how much water is in the filament, box by box and spool by spool."""

__version__ = "0.1.0"

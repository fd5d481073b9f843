"""The database: one SQLite file. What a power cut can lose is at most what was not acknowledged."""

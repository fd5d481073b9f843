"""Pages about alarms: what is so, what may be done about it, and how the alarms themselves do."""

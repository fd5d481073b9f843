-- What is told and found of sensors. Rows are never changed: a correction names the row it replaces.
-- Readings stay as they came; what corrects them is worked out from these rows when they are read.
CREATE TABLE sensor_event (
    event_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    channel TEXT NOT NULL,  -- "<node>/<channel>"
    at_ms INTEGER NOT NULL CHECK (at_ms >= 0),  -- when it happened
    entered_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,  -- JSON; its members depend on the kind
    replaces INTEGER REFERENCES sensor_event
) STRICT;
CREATE INDEX sensor_event_by_channel ON sensor_event (site_id, channel);

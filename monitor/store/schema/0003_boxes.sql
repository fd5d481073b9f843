-- What people tell of a box's desiccant. Rows are never changed: a correction names the row it replaces.
CREATE TABLE box_event (
    event_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    box TEXT NOT NULL,
    at_ms INTEGER NOT NULL CHECK (at_ms >= 0),  -- when it happened
    entered_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,  -- JSON; its members depend on the kind
    replaces INTEGER REFERENCES box_event
) STRICT;
CREATE INDEX box_event_by_box ON box_event (site_id, box);

-- States computed from readings and events, and what was noticed on the way. As with spools a row is there
-- only while it is true: whatever changes the past deletes the rows after it in the same transaction.
CREATE TABLE box_checkpoint (
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    box TEXT NOT NULL,
    content BLOB NOT NULL,
    loading_p10_pct REAL NOT NULL,
    loading_p50_pct REAL NOT NULL,
    loading_p90_pct REAL NOT NULL,
    PRIMARY KEY (site_id, at_ms, box)
) STRICT, WITHOUT ROWID;

CREATE TABLE box_noticed (
    site_id INTEGER NOT NULL REFERENCES site,
    box TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    found_ms INTEGER NOT NULL,  -- readings up to this time told it
    water_g REAL NOT NULL,
    step_pct REAL NOT NULL,
    PRIMARY KEY (site_id, box, at_ms, kind)
) STRICT, WITHOUT ROWID;

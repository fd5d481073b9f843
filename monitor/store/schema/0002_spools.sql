-- What people tell about a spool. Rows are never changed: a correction is a new row that names the one it replaces.
CREATE TABLE spool_event (
    event_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    spool TEXT NOT NULL,
    at_ms INTEGER NOT NULL CHECK (at_ms >= 0),  -- when it happened
    entered_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,  -- JSON; its members depend on the kind
    replaces INTEGER REFERENCES spool_event
) STRICT;
CREATE INDEX spool_event_by_spool ON spool_event (site_id, spool);

-- States computed from readings and events. A row is there only while it agrees with both: whatever
-- changes the past deletes the rows after it in the same transaction.
CREATE TABLE spool_checkpoint (
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    spool TEXT NOT NULL,
    content BLOB NOT NULL,
    mean_p10_pct REAL NOT NULL,
    mean_p50_pct REAL NOT NULL,
    mean_p90_pct REAL NOT NULL,
    outer_p10_pct REAL NOT NULL,
    outer_p50_pct REAL NOT NULL,
    outer_p90_pct REAL NOT NULL,
    PRIMARY KEY (site_id, at_ms, spool)
) STRICT, WITHOUT ROWID;

-- The site's own figures in place of the catalogue's; the newest of a figure holds.
CREATE TABLE own_figure (
    figure_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    material TEXT NOT NULL,
    figure TEXT NOT NULL,
    value REAL,  -- NULL: the catalogue's figure holds again
    who TEXT NOT NULL,
    why TEXT NOT NULL
) STRICT;

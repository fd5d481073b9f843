-- Appointments as they were given out last, and the addresses by which people read them.
CREATE TABLE calendar_entry (
    site_id INTEGER NOT NULL REFERENCES site,
    uid TEXT NOT NULL CHECK (length(uid) <= 300),
    kind TEXT NOT NULL,
    begins_ms INTEGER NOT NULL,
    ends_ms INTEGER NOT NULL CHECK (ends_ms >= begins_ms),
    is_day INTEGER NOT NULL CHECK (is_day IN (0, 1)),
    summary TEXT NOT NULL CHECK (length(summary) <= 500),
    description TEXT NOT NULL CHECK (length(description) <= 4000),
    sequence INTEGER NOT NULL CHECK (sequence >= 0),
    changed_ms INTEGER NOT NULL,
    is_cancelled INTEGER NOT NULL CHECK (is_cancelled IN (0, 1)),
    PRIMARY KEY (site_id, uid)
) STRICT, WITHOUT ROWID;

CREATE TABLE calendar_feed (
    feed_id INTEGER PRIMARY KEY AUTOINCREMENT,
    site_id INTEGER NOT NULL REFERENCES site,
    person_key TEXT NOT NULL,  -- '': made at the board's own screen before there was an owner
    digest BLOB NOT NULL UNIQUE,  -- SHA-256 of the secret part of the address, which is shown once
    made_ms INTEGER NOT NULL
) STRICT;

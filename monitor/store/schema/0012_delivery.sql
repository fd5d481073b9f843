-- Units: every *_ms is Unix time in milliseconds, UTC. `person` is a folded name; '' stands for the site itself.
CREATE TABLE channel (
    channel_id INTEGER PRIMARY KEY AUTOINCREMENT,  -- never used again for another
    site_id INTEGER NOT NULL REFERENCES site,
    person TEXT NOT NULL CHECK (length(person) <= 200),
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 40),
    shown TEXT NOT NULL CHECK (length(shown) <= 120),  -- scheme and host; nothing secret
    sealed BLOB NOT NULL CHECK (length(sealed) <= 4000),  -- the address, under a key that is not in here
    added_ms INTEGER NOT NULL,
    removed_ms INTEGER
) STRICT;
CREATE INDEX channel_by_person ON channel (site_id, person);

CREATE TABLE wish (
    site_id INTEGER NOT NULL REFERENCES site,
    person TEXT NOT NULL CHECK (length(person) <= 200),
    least TEXT NOT NULL CHECK (least IN ('notice', 'low', 'medium', 'high', 'safety')),
    wants_clears INTEGER NOT NULL CHECK (wants_clears IN (0, 1)),
    quiet_from INTEGER NOT NULL CHECK (quiet_from BETWEEN 0 AND 1439),  -- minutes after local midnight
    quiet_to INTEGER NOT NULL CHECK (quiet_to BETWEEN 0 AND 1439),
    a_day INTEGER NOT NULL CHECK (a_day BETWEEN 1 AND 50),
    muted TEXT NOT NULL CHECK (length(muted) <= 2600),  -- types, separated by spaces
    next_person TEXT CHECK (length(next_person) <= 200),
    PRIMARY KEY (site_id, person)
) STRICT, WITHOUT ROWID;

CREATE TABLE outbox (
    site_id INTEGER NOT NULL REFERENCES site,
    key TEXT NOT NULL CHECK (length(key) = 32),
    person TEXT NOT NULL,
    channel_id INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('active', 'worse', 'clears', 'notice', 'test')),
    subject TEXT NOT NULL CHECK (length(subject) <= 200),
    occurrence TEXT NOT NULL CHECK (length(occurrence) <= 200),
    priority TEXT NOT NULL CHECK (priority IN ('notice', 'low', 'medium', 'high', 'safety')),
    made_ms INTEGER NOT NULL,
    not_before_ms INTEGER NOT NULL,
    expires_ms INTEGER NOT NULL,
    title TEXT NOT NULL CHECK (length(title) <= 200),
    text TEXT NOT NULL CHECK (length(text) <= 2000),
    rung INTEGER NOT NULL CHECK (rung BETWEEN 0 AND 1000),
    state TEXT NOT NULL CHECK (state IN ('queued', 'sending', 'sent', 'given up', 'cancelled')),
    tries INTEGER NOT NULL CHECK (tries BETWEEN 0 AND 100),
    is_unsure INTEGER NOT NULL CHECK (is_unsure IN (0, 1)),
    settled_ms INTEGER,
    taken TEXT NOT NULL DEFAULT '' CHECK (length(taken) <= 64),  -- which message it left in
    heard_ms INTEGER,  -- of a test: when its recipient said that it had come
    trouble TEXT NOT NULL DEFAULT '' CHECK (length(trouble) <= 300),
    PRIMARY KEY (site_id, key)
) STRICT, WITHOUT ROWID;
CREATE INDEX outbox_open ON outbox (site_id, not_before_ms) WHERE state IN ('queued', 'sending');
CREATE INDEX outbox_settled ON outbox (site_id, settled_ms);
CREATE INDEX outbox_by_occurrence ON outbox (site_id, subject, occurrence);

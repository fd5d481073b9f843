-- Units: every *_ms is milliseconds; a point in time is Unix time, UTC. Values are integers in the
-- stored unit of their quantity (model/reading.py): temperature 0.001 Cel, humidity 0.001 %RH,
-- mass mg, battery 0.001 %EL, power mW, lid and smoke 0 or 1.

PRAGMA application_id = 1397707330;  -- "SORB": tells our files from other people's

CREATE TABLE site (
    site_id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    named INTEGER NOT NULL CHECK (named IN (0, 1))  -- 0: provisional, until someone names it
) STRICT;

-- A series belongs to exactly one site, so the site is part of every key that holds a series_id.
CREATE TABLE series (
    series_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    node TEXT NOT NULL,
    channel TEXT NOT NULL,
    quantity INTEGER NOT NULL,  -- code of the quantity
    due_ms INTEGER CHECK (due_ms > 0),  -- the newest `ut`; NULL: never given
    spacing_ms INTEGER CHECK (spacing_ms > 0),  -- median time between readings where `ut` is not given
    UNIQUE (site_id, node, channel, quantity)
) STRICT;

-- Time first: new rows go to the end of the tree whichever series they belong to, one page a commit.
CREATE TABLE reading (
    time_ms INTEGER NOT NULL CHECK (time_ms >= 0),
    series_id INTEGER NOT NULL,
    value INTEGER NOT NULL,  -- NOT NULL also keeps out nan, which SQLite would store as NULL
    quality INTEGER NOT NULL CHECK (quality BETWEEN 0 AND 3),  -- how it got its time
    PRIMARY KEY (time_ms, series_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE latest (
    series_id INTEGER PRIMARY KEY,
    time_ms INTEGER NOT NULL,
    value INTEGER NOT NULL,
    quality INTEGER NOT NULL,
    arrival_ms INTEGER NOT NULL
) STRICT;

-- One table a span, so that each only ever grows at its end.
CREATE TABLE rollup_5min (
    start_ms INTEGER NOT NULL,
    series_id INTEGER NOT NULL,
    n INTEGER NOT NULL,
    lowest INTEGER,  -- NULL, as are the next two, when there is no reading in the span
    highest INTEGER,
    total INTEGER,  -- sum of the values
    covered_ms INTEGER NOT NULL,  -- of the span, within `due` after a reading
    PRIMARY KEY (start_ms, series_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE rollup_hour (
    start_ms INTEGER NOT NULL,
    series_id INTEGER NOT NULL,
    n INTEGER NOT NULL,
    lowest INTEGER,
    highest INTEGER,
    total INTEGER,
    covered_ms INTEGER NOT NULL,
    PRIMARY KEY (start_ms, series_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE rollup_day (  -- UTC days
    start_ms INTEGER NOT NULL,
    series_id INTEGER NOT NULL,
    n INTEGER NOT NULL,
    lowest INTEGER,
    highest INTEGER,
    total INTEGER,
    covered_ms INTEGER NOT NULL,
    PRIMARY KEY (start_ms, series_id)
) STRICT, WITHOUT ROWID;

-- Five-minute spans whose roll-ups no longer agree with the readings; written with the readings.
CREATE TABLE rollup_due (start_ms INTEGER PRIMARY KEY) STRICT;

-- Readings from before this are refused: what their roll-ups were made of is gone.
CREATE TABLE kept (only INTEGER PRIMARY KEY CHECK (only = 1), accept_from_ms INTEGER NOT NULL) STRICT;
INSERT INTO kept VALUES (1, 0);

CREATE TABLE boot (
    boot_id INTEGER PRIMARY KEY,  -- rises in the order first heard
    site_id INTEGER NOT NULL REFERENCES site,
    node TEXT NOT NULL,
    boot TEXT NOT NULL,
    clock TEXT,  -- what is known of the node's clock, as JSON
    UNIQUE (site_id, node, boot)
) STRICT;

-- Packs seen, as ranges of sequence numbers; (boot, seq) identifies a pack.
CREATE TABLE seen (
    boot_id INTEGER NOT NULL REFERENCES boot,
    first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL,
    PRIMARY KEY (boot_id, first_seq),
    CHECK (first_seq <= last_seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE device (
    site_id INTEGER NOT NULL REFERENCES site,
    kind TEXT NOT NULL CHECK (kind IN ('node', 'oven')),
    key TEXT NOT NULL,
    at_ms INTEGER NOT NULL,  -- arrival of whichever came last
    online INTEGER CHECK (online IN (0, 1)),  -- NULL: presence never heard
    boot TEXT,
    firmware TEXT,
    sample_s REAL,
    state_json TEXT,  -- an oven's newest state, as received
    state_ms INTEGER,  -- its arrival
    PRIMARY KEY (site_id, kind, key)
) STRICT, WITHOUT ROWID;

CREATE TABLE quarantine (
    quarantine_id INTEGER PRIMARY KEY,  -- rises; the lowest are deleted first
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    topic TEXT NOT NULL,
    reason TEXT NOT NULL,
    payload BLOB NOT NULL,
    digest BLOB NOT NULL,  -- of topic, reason and payload, so that the same one twice is kept once
    UNIQUE (site_id, at_ms, digest)
) STRICT;

CREATE TABLE counter (
    site_id INTEGER NOT NULL REFERENCES site,
    name TEXT NOT NULL,  -- `newest_ms` is the arrival time of the newest item
    value INTEGER NOT NULL,
    PRIMARY KEY (site_id, name)
) STRICT, WITHOUT ROWID;

-- Versions of each thing there is, each valid from its own time until the next one.
CREATE TABLE item (
    site_id INTEGER NOT NULL REFERENCES site,
    kind TEXT NOT NULL CHECK (kind IN ('room', 'box', 'spool', 'oven')),
    key TEXT NOT NULL,
    from_ms INTEGER NOT NULL,  -- 0 for the first version: what was not known earlier is taken to have been so
    body TEXT,  -- JSON; NULL: taken out of the inventory
    PRIMARY KEY (site_id, kind, key, from_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE placement (
    site_id INTEGER NOT NULL REFERENCES site,
    channel TEXT NOT NULL,  -- "<node>/<channel>"
    from_ms INTEGER NOT NULL,  -- 0 for a channel's first place
    kind TEXT CHECK (kind IN ('room', 'box', 'oven')),  -- NULL, as is the next: taken away
    place_key TEXT,
    PRIMARY KEY (site_id, channel, from_ms)
) STRICT, WITHOUT ROWID;

-- Units: every *_ms is Unix time in milliseconds, UTC.
-- What is known of each alarm, as text; written in one transaction with the lines of the log that it comes from.
CREATE TABLE alarm (
    site_id INTEGER NOT NULL REFERENCES site,
    key TEXT NOT NULL CHECK (length(key) BETWEEN 1 AND 127),
    shown TEXT NOT NULL CHECK (length(shown) <= 16),  -- the state of A.1; 'norm' is nearly every row
    content TEXT NOT NULL CHECK (length(content) <= 65536),
    PRIMARY KEY (site_id, key)
) STRICT, WITHOUT ROWID;

-- Transitions: what the alarm health page counts. Rows are never changed; old ones are deleted.
CREATE TABLE alarm_log (
    site_id INTEGER NOT NULL REFERENCES site,
    number INTEGER NOT NULL,  -- +1 each
    at_ms INTEGER NOT NULL,
    key TEXT NOT NULL CHECK (length(key) BETWEEN 1 AND 127),
    type TEXT NOT NULL CHECK (length(type) <= 63),
    place TEXT NOT NULL CHECK (length(place) <= 127),
    activation TEXT NOT NULL CHECK (length(activation) <= 32),
    what TEXT NOT NULL CHECK (length(what) <= 32),
    was TEXT NOT NULL CHECK (length(was) <= 16),
    now TEXT NOT NULL CHECK (length(now) <= 16),
    priority TEXT NOT NULL CHECK (length(priority) <= 16),
    who TEXT NOT NULL CHECK (length(who) <= 200),
    told INTEGER NOT NULL CHECK (told IN (0, 1)),
    PRIMARY KEY (site_id, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX alarm_log_by_time ON alarm_log (site_id, at_ms);
CREATE TRIGGER alarm_log_is_never_changed BEFORE UPDATE ON alarm_log
BEGIN SELECT RAISE(ABORT, 'transitions are never changed'); END;

-- Numbers of the alarm table as people set them; the newest of a type and name holds. Never changed.
CREATE TABLE alarm_figure (
    figure_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    type TEXT NOT NULL CHECK (length(type) <= 63),
    name TEXT NOT NULL CHECK (length(name) <= 63),
    old REAL,
    value REAL,  -- NULL: as in the table again
    who TEXT NOT NULL CHECK (length(who) <= 200),
    why TEXT NOT NULL CHECK (length(why) BETWEEN 1 AND 200),
    UNIQUE (site_id, at_ms, type, name)
) STRICT;
CREATE TRIGGER alarm_figure_is_never_changed BEFORE UPDATE ON alarm_figure
BEGIN SELECT RAISE(ABORT, 'figures are never changed'); END;

-- Units: every *_ms is Unix time in milliseconds, UTC.
-- All that was done and decided, each line bound to the one before it by a hash (A-13, A-37).
-- The first line of a site says what of earlier releases stands beside the chain, with a digest over it.
CREATE TABLE audit (
    site_id INTEGER NOT NULL REFERENCES site,
    seq INTEGER NOT NULL CHECK (seq >= 1),  -- +1 each
    at_ms INTEGER NOT NULL,
    quality TEXT NOT NULL CHECK (length(quality) BETWEEN 1 AND 16),
    who TEXT NOT NULL CHECK (length(who) <= 200),
    kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 16),
    about TEXT NOT NULL CHECK (length(about) <= 200),
    what TEXT NOT NULL CHECK (length(what) <= 2000),
    detail TEXT NOT NULL CHECK (length(detail) <= 20000),  -- canonical JSON
    prev TEXT NOT NULL CHECK (length(prev) = 64),
    hash TEXT NOT NULL CHECK (length(hash) = 64),  -- SHA-256 of all of the above but the site, in hex
    PRIMARY KEY (site_id, seq)
) STRICT;
CREATE INDEX audit_by_time ON audit (site_id, at_ms);
CREATE INDEX audit_by_about ON audit (site_id, about, at_ms);
CREATE TRIGGER audit_is_never_changed BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER audit_is_never_deleted BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the log is never deleted'); END;
CREATE TRIGGER audit_only_grows BEFORE INSERT ON audit
WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM audit WHERE site_id = NEW.site_id)
BEGIN SELECT RAISE(ABORT, 'the log only grows at its end'); END;

-- Where the chain ends: without it, nobody would miss the last lines.
CREATE TABLE audit_head (
    site_id INTEGER PRIMARY KEY REFERENCES site,
    seq INTEGER NOT NULL CHECK (seq >= 1),
    hash TEXT NOT NULL CHECK (length(hash) = 64)
) STRICT;

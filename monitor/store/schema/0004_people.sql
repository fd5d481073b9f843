-- Units: every *_ms is Unix time in milliseconds, UTC.
CREATE TABLE person (
    person_id INTEGER PRIMARY KEY AUTOINCREMENT,  -- never used again for somebody else
    site_id INTEGER NOT NULL REFERENCES site,
    key TEXT NOT NULL,  -- the name, folded: two spellings of it are one person
    name TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('look', 'do', 'owner')),
    password TEXT,  -- scrypt$n=..,r=..,p=..$salt$hash; NULL: none was chosen yet
    added_ms INTEGER NOT NULL,
    UNIQUE (site_id, key)
) STRICT;

CREATE TABLE one_time_code (
    site_id INTEGER NOT NULL REFERENCES site,
    person_key TEXT NOT NULL,  -- '': for whoever becomes the first owner
    digest BLOB NOT NULL,  -- SHA-256 of the code
    until_ms INTEGER NOT NULL,
    PRIMARY KEY (site_id, person_key)
) STRICT, WITHOUT ROWID;

CREATE TABLE session (
    session_id INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
    digest BLOB NOT NULL UNIQUE,  -- SHA-256 of the token, which only the device has
    device TEXT NOT NULL,
    since_ms INTEGER NOT NULL,
    seen_ms INTEGER NOT NULL  -- to some minutes
) STRICT;
CREATE INDEX session_by_person ON session (person_id);

-- What people did. The name is text, so that it outlives the person's row. Until there is an owner, names are
-- as somebody typed them on the board's own screen; from then on they are those of the people signed in.
CREATE TABLE act (
    act_id INTEGER PRIMARY KEY AUTOINCREMENT,
    site_id INTEGER NOT NULL REFERENCES site,
    at_ms INTEGER NOT NULL,
    person TEXT NOT NULL,
    what TEXT NOT NULL,
    on_what TEXT NOT NULL,  -- key of the thing or name of the person it was done to; may be empty
    detail TEXT NOT NULL
) STRICT;
CREATE INDEX act_by_time ON act (site_id, at_ms);
CREATE TRIGGER act_is_never_changed BEFORE UPDATE ON act BEGIN SELECT RAISE(ABORT, 'acts are never changed'); END;
CREATE TRIGGER act_is_never_deleted BEFORE DELETE ON act BEGIN SELECT RAISE(ABORT, 'acts are never deleted'); END;

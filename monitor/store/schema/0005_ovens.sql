-- What the supervision of each oven remembers, as text; written with the records that go with it.
CREATE TABLE oven_supervised (
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL,
    content TEXT NOT NULL,
    PRIMARY KEY (site_id, oven)
) STRICT, WITHOUT ROWID;

-- The book of each oven: written before heat is switched on for its sake. Rows are never changed.
CREATE TABLE oven_record (
    record_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    cycle TEXT,
    rule TEXT,
    who TEXT
) STRICT;
CREATE INDEX oven_record_by_oven ON oven_record (site_id, oven, record_id);

-- Ten minutes before and after a trip; a later one of the same trip holds more of them.
CREATE TABLE oven_first_out (
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL,
    trip TEXT NOT NULL,
    content TEXT NOT NULL,
    PRIMARY KEY (site_id, oven, trip)
) STRICT, WITHOUT ROWID;

-- What a person stated of an oven; the newest of a kind holds.
CREATE TABLE oven_fact (
    fact_id INTEGER PRIMARY KEY,
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,  -- "checklist" | "cutout" | "proof_test"
    value TEXT NOT NULL,
    who TEXT NOT NULL
) STRICT;
CREATE INDEX oven_fact_by_oven ON oven_fact (site_id, oven, fact_id);

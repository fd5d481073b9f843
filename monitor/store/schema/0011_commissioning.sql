-- Commissioning runs of ovens with their traces; the newest ten of each oven are kept, a longer trace is refused.
CREATE TABLE oven_run (
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL CHECK (length(oven) BETWEEN 1 AND 63),
    run TEXT NOT NULL CHECK (length(run) BETWEEN 1 AND 64),
    at_ms INTEGER NOT NULL CHECK (at_ms >= 0),
    who TEXT NOT NULL CHECK (length(who) <= 200),
    kind TEXT NOT NULL CHECK (kind IN ('empty', 'loaded')),
    spools INTEGER NOT NULL CHECK (spools BETWEEN 0 AND 1000),
    setpoint_c REAL NOT NULL,
    room_c REAL,  -- NULL = not measured
    heated_ms INTEGER CHECK (heated_ms >= 0),  -- from the start to the end of heat; NULL = not over
    ending TEXT CHECK (length(ending) <= 40),  -- NULL = it runs, or the program ended before it did
    rule TEXT CHECK (length(rule) <= 10),  -- that ended it
    why TEXT NOT NULL CHECK (length(why) <= 500),
    trace TEXT NOT NULL CHECK (length(trace) <= 300000),  -- JSON rows: [s, [°C per sensor], share, W, door]
    PRIMARY KEY (site_id, oven, run)
) STRICT, WITHOUT ROWID;

-- Starts of ovens that people planned for later. What a person agreed to is never changed; only what became of it.
CREATE TABLE planned_start (
    site_id INTEGER NOT NULL REFERENCES site,
    number INTEGER NOT NULL CHECK (number > 0),
    oven TEXT NOT NULL CHECK (length(oven) BETWEEN 1 AND 200),
    start_ms INTEGER NOT NULL CHECK (start_ms > 0),
    planned_ms INTEGER NOT NULL CHECK (planned_ms > 0),
    who TEXT NOT NULL CHECK (length(who) <= 200),
    content TEXT NOT NULL CHECK (length(content) <= 30000),  -- JSON: load, set-point and so on, as shown
    state TEXT NOT NULL CHECK (length(state) <= 20),  -- one that a later version knows is kept, and told as unread
    changed_ms INTEGER NOT NULL,
    why TEXT NOT NULL CHECK (length(why) <= 4000),
    cycle TEXT CHECK (length(cycle) <= 200),
    PRIMARY KEY (site_id, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX planned_start_by_state ON planned_start (site_id, state, start_ms);

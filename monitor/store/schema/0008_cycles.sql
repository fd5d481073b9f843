-- The air of each oven's chamber as its controller told it: one row a minute while warm, else one in five.
CREATE TABLE oven_air (
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL CHECK (length(oven) <= 64),
    minute INTEGER NOT NULL CHECK (minute >= 0),  -- Unix minutes
    temperature INTEGER NOT NULL CHECK (temperature BETWEEN -10000 AND 50000),  -- 0.01 degC
    humidity INTEGER CHECK (humidity BETWEEN -1000 AND 11000),  -- 0.01 %RH
    heater INTEGER NOT NULL CHECK (heater BETWEEN 0 AND 100),  -- % of full power
    PRIMARY KEY (site_id, oven, minute)
) STRICT, WITHOUT ROWID;
CREATE INDEX oven_air_by_minute ON oven_air (site_id, minute);

-- What is kept of each cycle beside the lines of the oven's book: load, limits, water before and after.
CREATE TABLE oven_cycle (
    site_id INTEGER NOT NULL REFERENCES site,
    oven TEXT NOT NULL CHECK (length(oven) <= 64),
    cycle TEXT NOT NULL CHECK (length(cycle) <= 64),
    started_ms INTEGER NOT NULL CHECK (started_ms >= 0),
    ended_ms INTEGER,  -- NULL: runs, or was cut short and not closed yet
    content TEXT NOT NULL CHECK (length(content) <= 65536),  -- JSON
    PRIMARY KEY (site_id, oven, cycle)
) STRICT, WITHOUT ROWID;
CREATE INDEX oven_cycle_by_start ON oven_cycle (site_id, started_ms);
CREATE INDEX oven_record_by_cycle ON oven_record (site_id, oven, cycle) WHERE cycle IS NOT NULL;

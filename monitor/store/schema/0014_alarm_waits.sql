-- How long a condition held before its alarm was raised: what the mean detection delay is made of.
-- NULL: the line raises nothing, or was written before this was kept.
ALTER TABLE alarm_log ADD COLUMN waited_s REAL CHECK (waited_s >= 0.0);

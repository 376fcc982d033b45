-- Version 2 keeps the layout clock, too. Never changed again: what comes later is a migration of its own.

-- What the layout clock showed last, once somebody had set or started it: one row, or none.
CREATE TABLE now_clock (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    shows INTEGER NOT NULL,             -- nanoseconds since the midnight before its first day
    pace REAL NOT NULL,                 -- how many times faster than layout time it runs
    is_running INTEGER NOT NULL
) STRICT;

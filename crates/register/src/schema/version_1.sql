-- The register as version 1 has it. Never changed again: what comes later is a migration of its own.
-- Times: `at`, `since`, `until` and the like are nanoseconds of layout time since the shift began; whatever ends in `wall` is
-- milliseconds since 1970-01-01 UTC.

-- Texts that layouts were loaded from, once for each content.
CREATE TABLE layout (
    id INTEGER PRIMARY KEY,
    digest INTEGER NOT NULL,            -- FNV-1a of names and texts; equal ones are compared text by text
    name TEXT NOT NULL
) STRICT;
CREATE INDEX layout_by_digest ON layout (digest);
CREATE TABLE layout_file (
    layout INTEGER NOT NULL,
    name TEXT NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (layout, name)
) STRICT, WITHOUT ROWID;

-- One run of a signaller, from its start to its end.
CREATE TABLE shift (
    id INTEGER PRIMARY KEY,
    began_wall INTEGER NOT NULL,
    ended_wall INTEGER,
    ending TEXT NOT NULL,               -- open, closed, or lost: nobody closed it
    pace TEXT NOT NULL,
    version TEXT NOT NULL,
    conduct TEXT NOT NULL,              -- observe or control
    origin TEXT NOT NULL,               -- afresh, or before: it went on from the shift before
    layout INTEGER NOT NULL,
    first_step INTEGER NOT NULL
) STRICT;

-- Everything that went in, what came out, and the digest of that.
CREATE TABLE step (
    id INTEGER PRIMARY KEY,             -- its number, over all shifts
    shift INTEGER NOT NULL,
    at INTEGER NOT NULL,
    wall INTEGER NOT NULL,
    inputs BLOB NOT NULL,
    causes BLOB NOT NULL,
    outputs BLOB NOT NULL,
    digest INTEGER NOT NULL             -- FNV-1a of the bytes of the outputs
) STRICT;
-- Steps that were not kept, because nothing could be written for too long.
CREATE TABLE gap (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    first INTEGER NOT NULL,
    last INTEGER NOT NULL
) STRICT;
-- The whole signaller as it was after a step.
CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    step INTEGER NOT NULL,
    at INTEGER NOT NULL,
    bytes BLOB NOT NULL
) STRICT;

-- Facts for people.
CREATE TABLE trip (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    train TEXT NOT NULL,
    origin TEXT,
    destination TEXT NOT NULL,
    departed INTEGER NOT NULL,
    departed_wall INTEGER NOT NULL,
    arrived INTEGER,
    arrived_wall INTEGER,
    is_over INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX trip_under_way ON trip (shift, train) WHERE is_over = 0;
CREATE TABLE stop (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    train TEXT NOT NULL,
    place TEXT NOT NULL,
    at INTEGER NOT NULL,
    wall INTEGER NOT NULL,
    short_um INTEGER                    -- how far short of the stopping point the nose stands, where that is known
) STRICT;
CREATE INDEX stop_unmeasured ON stop (shift, train) WHERE short_um IS NULL;
CREATE TABLE stand (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    section TEXT NOT NULL,
    train TEXT,
    said TEXT NOT NULL,                 -- sure, doubt, or unexplained
    since INTEGER NOT NULL,
    since_wall INTEGER NOT NULL,
    until INTEGER,
    until_wall INTEGER
) STRICT;
CREATE INDEX stand_now ON stand (shift, section) WHERE until IS NULL;
CREATE TABLE doubt (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    number INTEGER NOT NULL,
    trains TEXT NOT NULL,
    sections TEXT NOT NULL,
    alternatives TEXT NOT NULL,
    would_settle TEXT NOT NULL,
    cause TEXT NOT NULL,                -- what was heard when it was raised: its kind,
    cause_at TEXT NOT NULL,             -- and of what
    raised INTEGER NOT NULL,
    raised_wall INTEGER NOT NULL,
    cleared INTEGER,
    cleared_wall INTEGER,
    cleared_by TEXT
) STRICT;
CREATE INDEX doubt_open ON doubt (shift, number) WHERE cleared IS NULL;
CREATE TABLE hold (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    train TEXT NOT NULL,
    reason TEXT NOT NULL,
    since INTEGER NOT NULL,
    since_wall INTEGER NOT NULL,
    until INTEGER,
    until_wall INTEGER
) STRICT;
CREATE INDEX hold_now ON hold (shift, train) WHERE until IS NULL;
CREATE TABLE fault (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    kind TEXT NOT NULL,                 -- detector, train or turnout
    name TEXT NOT NULL,
    because TEXT NOT NULL,
    at INTEGER NOT NULL,
    wall INTEGER NOT NULL
) STRICT;
CREATE TABLE wish (
    id INTEGER PRIMARY KEY,
    shift INTEGER NOT NULL,
    ticket INTEGER NOT NULL,
    step INTEGER NOT NULL,
    asked_by TEXT NOT NULL,
    key TEXT,
    what TEXT NOT NULL,
    request BLOB NOT NULL,
    asked INTEGER NOT NULL,
    asked_wall INTEGER NOT NULL,
    answered INTEGER,
    answered_wall INTEGER,
    accepted INTEGER,
    reason TEXT
) STRICT;
CREATE INDEX wish_open ON wish (shift, ticket) WHERE answered IS NULL;
CREATE INDEX wish_by_key ON wish (key) WHERE key IS NOT NULL;

-- What a restart needs, as it is now.
CREATE TABLE now_place (train TEXT PRIMARY KEY, memory BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE now_lessons (train TEXT PRIMARY KEY, lessons BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE now_wish (
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    words TEXT NOT NULL,
    asked_by TEXT NOT NULL,
    PRIMARY KEY (kind, subject)
) STRICT, WITHOUT ROWID;

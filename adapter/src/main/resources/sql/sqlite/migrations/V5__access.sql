-- People who sign in. Times are milliseconds since 1970-01-01T00:00:00Z.
CREATE TABLE account (
  name         TEXT    PRIMARY KEY,
  password     TEXT    NOT NULL,             -- Argon2id, in its own encoded form
  roles        TEXT    NOT NULL,             -- words with blanks between; empty: may only post forms
  created_at   INTEGER NOT NULL,
  locked       INTEGER NOT NULL DEFAULT 0,   -- by a person
  failures     INTEGER NOT NULL DEFAULT 0,   -- wrong passwords since the last right one
  closed_until INTEGER NOT NULL DEFAULT 0,   -- after too many of them
  stamp        TEXT    NOT NULL              -- a new one ends the sessions of before
);

-- Programs that post forms: what they show is random and long, so that its plain hash is enough.
CREATE TABLE token (
  name         TEXT    PRIMARY KEY,
  hash         TEXT    NOT NULL UNIQUE,      -- SHA-256
  source       TEXT,                         -- the only form that it may post to
  created_at   INTEGER NOT NULL,
  used_at      INTEGER,                      -- to the hour
  revoked_at   INTEGER
);

-- Every text of a mapping that was ever in use, in the order in which they came into use.
CREATE TABLE mapping_version (
  mapping TEXT    NOT NULL,
  number  INTEGER NOT NULL,
  sha256  TEXT    NOT NULL,
  text    TEXT    NOT NULL,
  at      INTEGER NOT NULL,
  actor   TEXT    NOT NULL,
  why     TEXT    NOT NULL,
  PRIMARY KEY (mapping, number)
) WITHOUT ROWID;

-- The queue is paged by urgency and number, whatever narrows it; the time of receipt stands behind them, so
-- that what came too early is passed over without being read.
DROP INDEX entry_rejected;
CREATE INDEX entry_rejected        ON entry (urgency DESC, id, received_at)         WHERE state = 'rejected';
CREATE INDEX entry_rejected_source ON entry (source, urgency DESC, id, received_at) WHERE state = 'rejected';
CREATE INDEX entry_rejected_code   ON entry (code, urgency DESC, id, received_at)   WHERE state = 'rejected';
CREATE INDEX entry_urgent          ON entry (urgency, received_at, changed_at)      WHERE state = 'rejected';

-- What the overview and the gaps ask for, without a look at the entries themselves.
DROP INDEX entry_exam;
CREATE INDEX entry_exam     ON entry (device_serial, exam_id, received_at, source) WHERE exam_id IS NOT NULL;
CREATE INDEX entry_device   ON entry (device_serial, received_at)                  WHERE device_serial IS NOT NULL;
CREATE INDEX submission_day ON submission (source, received_at);

-- The ledger. Times are milliseconds since 1970-01-01T00:00:00Z. Hashes are lower-case hexadecimal
-- text, but for the trail's chain, which is 32 raw bytes.

-- The bytes that one sender handed over in one go.
CREATE TABLE submission (
  id              INTEGER PRIMARY KEY,
  source          TEXT    NOT NULL,
  kind            TEXT    NOT NULL,              -- folder, form, ...
  name            TEXT,                          -- the file's name
  content_type    TEXT,
  idempotency_key TEXT,                          -- forms only
  received_at     INTEGER NOT NULL,
  sha256          TEXT    NOT NULL,
  size            INTEGER NOT NULL,
  -- arriving: bytes still come in, nobody was answered; received: durable, entries not all split off;
  -- refined: every entry is in the entry table
  state           TEXT    NOT NULL CHECK (state IN ('arriving', 'received', 'refined')),
  entries         INTEGER NOT NULL DEFAULT 0,    -- split off so far
  tries           INTEGER NOT NULL DEFAULT 0,    -- claims since the last progress
  fence           INTEGER NOT NULL DEFAULT 0,    -- claims altogether
  lease_until     INTEGER NOT NULL DEFAULT 0,
  lease_owner     TEXT
);

CREATE UNIQUE INDEX submission_idempotency ON submission (source, idempotency_key)
  WHERE idempotency_key IS NOT NULL;
CREATE INDEX submission_open ON submission (id) WHERE state <> 'refined';
CREATE INDEX submission_twin ON submission (sha256, source);

CREATE TABLE submission_chunk (
  submission_id INTEGER NOT NULL REFERENCES submission (id),
  number        INTEGER NOT NULL,
  bytes         BLOB    NOT NULL,
  PRIMARY KEY (submission_id, number)
) WITHOUT ROWID;

-- One result inside a submission.
CREATE TABLE entry (
  id              INTEGER PRIMARY KEY,
  submission_id   INTEGER NOT NULL REFERENCES submission (id),
  ordinal         INTEGER NOT NULL,
  line            INTEGER NOT NULL,
  byte_offset     INTEGER NOT NULL,
  byte_length     INTEGER NOT NULL,
  source          TEXT    NOT NULL,
  received_at     INTEGER NOT NULL,
  state           TEXT    NOT NULL CHECK (state IN
    ('waiting', 'ready', 'delivered', 'rejected', 'duplicate', 'superseded', 'discarded', 'returned')),
  changed_at      INTEGER NOT NULL,
  accepted_at     INTEGER,                       -- when it became ready
  key_hash        TEXT,
  content_hash    TEXT,
  revision        INTEGER,
  status          TEXT,
  scan            TEXT,                          -- JSON
  findings        TEXT    NOT NULL DEFAULT '[]', -- JSON
  code            TEXT,                          -- the first finding that rejects
  urgency         INTEGER NOT NULL DEFAULT 0,    -- the volume in mL, as far as it is known
  device_serial   TEXT,
  exam_id         TEXT,
  mapping         TEXT,                          -- name@version
  policy          TEXT,
  overlay         TEXT,                          -- amended fields, JSON
  other_entry     INTEGER REFERENCES entry (id), -- the one that this is a duplicate of, or that superseded it
  tries           INTEGER NOT NULL DEFAULT 0,
  next_try_at     INTEGER NOT NULL DEFAULT 0,
  fence           INTEGER NOT NULL DEFAULT 0,
  lease_until     INTEGER NOT NULL DEFAULT 0,
  lease_owner     TEXT,
  location        TEXT,                          -- ResourceType/id at the server
  version         TEXT,                          -- the version that we wrote
  delivered_at    INTEGER,
  UNIQUE (submission_id, ordinal)
);

CREATE INDEX entry_waiting  ON entry (next_try_at, id) WHERE state = 'waiting';
CREATE INDEX entry_ready    ON entry (next_try_at, id) WHERE state = 'ready';
CREATE INDEX entry_rejected ON entry (urgency DESC, id) WHERE state = 'rejected';
CREATE INDEX entry_key      ON entry (key_hash) WHERE key_hash IS NOT NULL;
CREATE INDEX entry_day      ON entry (source, received_at, state);
CREATE INDEX entry_exam     ON entry (device_serial, exam_id) WHERE exam_id IS NOT NULL;

-- What a try to deliver an entry came to. A try that a crash cut off has no row, but counts in entry.tries.
CREATE TABLE attempt (
  id          INTEGER PRIMARY KEY,
  entry_id    INTEGER NOT NULL REFERENCES entry (id),
  started_at  INTEGER NOT NULL,
  ended_at    INTEGER NOT NULL,
  outcome     TEXT    NOT NULL,
  http_status INTEGER,
  detail      TEXT
);

CREATE INDEX attempt_entry ON attempt (entry_id);

-- The audit trail: each event carries the hash of the one before.
CREATE TABLE trail (
  seq           INTEGER PRIMARY KEY,
  at            INTEGER NOT NULL,
  actor         TEXT    NOT NULL,
  event         TEXT    NOT NULL,
  submission_id INTEGER,
  entry_id      INTEGER,
  from_state    TEXT,
  to_state      TEXT,
  detail        TEXT,                            -- holds nothing of a patient
  payload_hash  BLOB,                            -- of the payload, salted
  hash          BLOB    NOT NULL
);

CREATE INDEX trail_entry ON trail (entry_id) WHERE entry_id IS NOT NULL;
CREATE INDEX trail_at    ON trail (at);

-- What an event says about a patient (old and new values): can be purged, and the chain still verifies.
CREATE TABLE trail_payload (
  seq     INTEGER PRIMARY KEY REFERENCES trail (seq),
  salt    BLOB NOT NULL,
  payload TEXT NOT NULL
);

-- Whether a destination takes results, and if not, why and since when.
CREATE TABLE destination (
  name        TEXT PRIMARY KEY,
  state       TEXT    NOT NULL CHECK (state IN ('open', 'paused')),
  since       INTEGER NOT NULL,
  next_try_at INTEGER NOT NULL,
  reason      TEXT,
  mode        TEXT
);

-- When the raw bytes of a submission, and what an entry says about a patient, were purged; null while
-- they are kept. The rows stay: their numbers, hashes, states and the trail are the proof.
ALTER TABLE submission ADD COLUMN purged_at INTEGER;
ALTER TABLE entry ADD COLUMN purged_at INTEGER;

CREATE INDEX submission_kept ON submission (received_at) WHERE purged_at IS NULL;
CREATE INDEX entry_kept      ON entry (received_at)      WHERE purged_at IS NULL;

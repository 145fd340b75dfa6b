-- Where the values derived from a result stand at the server: a JSON object, kind to location and version.
-- Null where none was ever written.
ALTER TABLE entry ADD COLUMN derived TEXT;

-- The scan that stands at the server, where that is not the entry's own: a withdrawal may name another patient
-- than the result went to, and then nothing is written to that patient.
ALTER TABLE entry ADD COLUMN written TEXT;

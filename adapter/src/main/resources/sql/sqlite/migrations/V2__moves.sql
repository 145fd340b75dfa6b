-- How often the result had changed its patient when this version of it was written to the server: the
-- server knows it under another key after each change.
ALTER TABLE entry ADD COLUMN moves INTEGER NOT NULL DEFAULT 0;

-- As V8 of the other store: who signs in with an account that somebody else keeps.
ALTER TABLE account ADD COLUMN subject TEXT;

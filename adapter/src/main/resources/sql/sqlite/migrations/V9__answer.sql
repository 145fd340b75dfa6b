-- What the sender of a submission was told, so that the same again is told the same; null where the
-- transport does not answer. Codes and numbers only.
ALTER TABLE submission ADD COLUMN answer TEXT;

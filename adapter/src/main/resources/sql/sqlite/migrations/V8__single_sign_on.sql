-- Who signs in with an account that somebody else keeps. NULL: has a password here. Empty: made, and not signed in
-- yet. Else the issuer and the subject that signed in first, with a blank between: no other one gets in.
ALTER TABLE account ADD COLUMN subject TEXT;

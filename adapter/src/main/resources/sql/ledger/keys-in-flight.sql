-- Keys of results that were claimed to be sent, and may be at the server before we know.
SELECT DISTINCT key_hash FROM entry WHERE state = 'ready' AND fence > 0 AND key_hash IS NOT NULL

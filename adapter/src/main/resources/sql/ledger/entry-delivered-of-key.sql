-- What stands at the server first: the clock may have been set back since.
SELECT * FROM entry WHERE key_hash = :key AND state IN ('delivered', 'superseded') AND location IS NOT NULL
ORDER BY state, delivered_at DESC, id DESC LIMIT 1

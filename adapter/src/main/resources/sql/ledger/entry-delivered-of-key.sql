SELECT * FROM entry WHERE key_hash = :key AND state IN ('delivered', 'superseded') AND location IS NOT NULL
ORDER BY delivered_at DESC, id DESC LIMIT 1

SELECT 1 FROM entry
WHERE key_hash = :key AND id <> :entry AND state IN ('ready', 'delivered', 'rejected', 'superseded')
LIMIT 1

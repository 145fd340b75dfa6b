SELECT * FROM entry
WHERE key_hash = :key AND state IN ('ready', 'delivered', 'rejected', 'superseded')
ORDER BY id

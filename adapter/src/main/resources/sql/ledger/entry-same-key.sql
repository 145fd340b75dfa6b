SELECT id, state, revision, status, content_hash, lease_until FROM entry
WHERE key_hash = :key AND state IN ('ready', 'delivered', 'rejected', 'superseded')
ORDER BY id

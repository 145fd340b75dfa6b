-- The key stays recognisable: as a hash.
UPDATE submission SET purged_at = :now, name = NULL, idempotency_key = :key
WHERE id = :submission AND purged_at IS NULL AND state = 'refined'

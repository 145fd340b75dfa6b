-- A purged submission knows its key by the hash only.
SELECT * FROM submission WHERE source = :source AND idempotency_key IN (:key, :hashed)

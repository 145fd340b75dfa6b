SELECT * FROM submission WHERE source = :source AND idempotency_key = :key

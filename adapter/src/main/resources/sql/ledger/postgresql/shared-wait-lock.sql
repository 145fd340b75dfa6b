SELECT pg_advisory_lock(1128878932, :lock)

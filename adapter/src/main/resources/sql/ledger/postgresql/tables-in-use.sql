SELECT pg_advisory_lock_shared(1128878932, hashtext(current_schema() || ':tables'))

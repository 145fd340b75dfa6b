SELECT pg_advisory_unlock_shared(1128878932, hashtext(current_schema() || ':tables'))

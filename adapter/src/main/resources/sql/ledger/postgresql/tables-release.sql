SELECT pg_advisory_unlock(1128878932, hashtext(current_schema() || ':tables'))

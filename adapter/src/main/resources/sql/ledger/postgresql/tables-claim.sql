-- Whoever has it is alone on the tables: each connection of a node or a command holds a shared lock.
SELECT pg_try_advisory_lock(1128878932, hashtext(current_schema() || ':tables'))

-- Its own statement, behind the lock: the time is the one at which the turn began.
INSERT INTO writer (id, turn, seen_at)
VALUES (:writer, :turn, CAST(floor(extract(epoch FROM clock_timestamp()) * 1000) AS bigint))
ON CONFLICT (id) DO UPDATE SET turn = excluded.turn, seen_at = excluded.seen_at
RETURNING seen_at

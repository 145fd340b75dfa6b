INSERT INTO destination (name, state, since, next_try_at, reason, mode)
VALUES (:name, :state, :since, :nextTryAt, :reason, :mode)
ON CONFLICT (name) DO UPDATE SET state = excluded.state, since = excluded.since, next_try_at = excluded.next_try_at,
  reason = excluded.reason, mode = excluded.mode

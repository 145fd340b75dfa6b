INSERT INTO account (name, password, roles, created_at, locked, failures, closed_until, stamp, subject)
VALUES (:name, :password, :roles, :createdAt, :locked, :failures, :closedUntil, :stamp, :subject)
ON CONFLICT (name) DO UPDATE SET
  password = excluded.password, roles = excluded.roles, locked = excluded.locked, failures = excluded.failures,
  closed_until = excluded.closed_until, stamp = excluded.stamp, subject = excluded.subject

-- One key is in flight at most once: an entry waits while another one of its key is leased, and only the
-- oldest of a key is taken. What another transaction has in its hands is passed over.
UPDATE entry SET lease_until = :until, lease_owner = :owner, tries = tries + 1, fence = fence + 1
WHERE id IN (
  SELECT e.id FROM entry e
  WHERE e.state = 'ready' AND (e.next_try_at <= :now OR e.next_try_at > :farthest)
    AND (e.lease_until <= :now OR e.lease_until > :farthest)
    AND NOT EXISTS (
      SELECT 1 FROM entry o
      WHERE o.key_hash = e.key_hash AND o.id <> e.id AND o.state = 'ready'
        AND (o.lease_until > :now AND o.lease_until <= :farthest OR o.id < e.id))
  ORDER BY e.next_try_at, e.id LIMIT :limit
  FOR UPDATE SKIP LOCKED)
RETURNING *

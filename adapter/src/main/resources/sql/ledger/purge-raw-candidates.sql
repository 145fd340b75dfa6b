-- Submissions whose bytes nobody needs any more, in the order of their receipt: every entry came to its
-- end before a time, and none leads to an entry that somebody still works on.
SELECT s.id, s.received_at, s.size FROM submission s
WHERE s.purged_at IS NULL AND s.state = 'refined' AND s.received_at < :before
  AND (s.received_at > :afterTime OR (s.received_at = :afterTime AND s.id > :after))
  AND NOT EXISTS (
    SELECT 1 FROM entry e
    WHERE e.submission_id = s.id
      AND (e.changed_at >= :before OR e.state IN ('waiting', 'ready', 'rejected')
        OR EXISTS (SELECT 1 FROM entry o WHERE o.id = e.other_entry AND o.state IN ('waiting', 'ready', 'rejected'))
        OR EXISTS (SELECT 1 FROM entry k
          WHERE k.key_hash = e.key_hash AND k.id <> e.id AND k.state IN ('waiting', 'ready', 'rejected'))))
ORDER BY s.received_at, s.id LIMIT :limit

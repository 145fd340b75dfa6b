-- Entries that came to their end before a time, in the order of their receipt; none whose result
-- somebody still works on in another version.
SELECT e.id, e.received_at, e.submission_id FROM entry e
WHERE e.purged_at IS NULL AND e.received_at < :before AND e.changed_at < :before
  AND (e.received_at > :afterTime OR (e.received_at = :afterTime AND e.id > :after))
  AND e.state IN ('delivered', 'duplicate', 'superseded', 'discarded', 'returned')
  AND NOT EXISTS (SELECT 1 FROM entry o WHERE o.id = e.other_entry AND o.state IN ('waiting', 'ready', 'rejected'))
  AND NOT EXISTS (SELECT 1 FROM entry k
    WHERE k.key_hash = e.key_hash AND k.id <> e.id AND k.state IN ('waiting', 'ready', 'rejected'))
ORDER BY e.received_at, e.id LIMIT :limit

SELECT e.id FROM submission s JOIN entry e ON e.submission_id = s.id
WHERE s.sha256 = :sha256 AND s.source = :source AND s.id < :submission AND e.ordinal = :ordinal
  AND ((:keyless AND e.state = 'rejected' AND e.key_hash IS NULL)
    OR (e.mapping = :mapping AND e.state IN ('ready', 'delivered', 'rejected', 'superseded')))
ORDER BY e.id LIMIT 1

-- Submissions that hold another number of entries than was counted. An entry that waits is not counted yet.
SELECT s.id FROM submission s
WHERE (:source IS NULL OR s.source = :source) AND s.received_at >= :from AND s.received_at < :to
  AND s.state <> 'arriving'
  AND s.entries <> (SELECT COUNT(*) FROM entry e WHERE e.submission_id = s.id AND e.state <> 'waiting')
ORDER BY s.id LIMIT 100

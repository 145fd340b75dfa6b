-- Submissions and entries that the trail knows, and that have no row any more.
SELECT 'submission' AS kind, t.submission_id AS id FROM trail t
WHERE t.event = 'received' AND t.at >= :from AND t.at < :to
  AND NOT EXISTS (SELECT 1 FROM submission s WHERE s.id = t.submission_id)
UNION
SELECT 'entry', t.entry_id FROM trail t
WHERE t.event = 'refined' AND t.at >= :from AND t.at < :to
  AND NOT EXISTS (SELECT 1 FROM entry e WHERE e.id = t.entry_id)
ORDER BY 1, 2 LIMIT 100

-- Submissions that are purged, but for pieces that a crash left.
SELECT DISTINCT c.submission_id FROM submission_chunk c JOIN submission s ON s.id = c.submission_id
WHERE s.purged_at IS NOT NULL

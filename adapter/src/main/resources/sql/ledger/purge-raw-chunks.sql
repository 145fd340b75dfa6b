DELETE FROM submission_chunk
WHERE submission_id = :submission AND number IN (
  SELECT number FROM submission_chunk WHERE submission_id = :submission ORDER BY number LIMIT :limit)

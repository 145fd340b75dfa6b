SELECT number, bytes FROM submission_chunk WHERE submission_id = :submission ORDER BY number

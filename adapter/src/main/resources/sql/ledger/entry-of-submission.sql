SELECT * FROM entry WHERE submission_id = :submission ORDER BY ordinal LIMIT :limit

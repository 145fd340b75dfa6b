SELECT * FROM entry WHERE submission_id = :submission AND ordinal > :after ORDER BY ordinal LIMIT :limit

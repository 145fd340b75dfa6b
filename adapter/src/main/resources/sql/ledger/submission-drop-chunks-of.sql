DELETE FROM submission_chunk
WHERE submission_id = (SELECT id FROM submission WHERE id = :submission AND state = 'arriving')

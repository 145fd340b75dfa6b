INSERT INTO submission_chunk (submission_id, number, bytes) VALUES (:submission, :number, :bytes)

INSERT INTO submission_chunk (submission_id, number, bytes, sha256) VALUES (:submission, :number, :bytes, :sha256)

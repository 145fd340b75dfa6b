SELECT bytes, sha256 FROM submission_chunk WHERE submission_id = :submission AND number = :number

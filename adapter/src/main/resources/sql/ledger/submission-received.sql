UPDATE submission SET state = 'received', received_at = :now, sha256 = :sha256, size = :size WHERE id = :submission

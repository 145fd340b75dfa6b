UPDATE submission SET state = 'received', received_at = :now, sha256 = :sha256, size = :size, lease_owner = NULL
WHERE id = :submission AND state = 'arriving'

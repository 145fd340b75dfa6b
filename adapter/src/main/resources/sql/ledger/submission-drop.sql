DELETE FROM submission WHERE state = 'arriving' AND (lease_owner = :owner OR received_at < :before)

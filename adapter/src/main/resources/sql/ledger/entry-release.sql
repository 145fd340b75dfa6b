UPDATE entry SET lease_until = 0 WHERE state = 'ready' AND lease_until > 0 AND lease_owner = :owner

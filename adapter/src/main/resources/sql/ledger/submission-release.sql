UPDATE submission SET lease_until = 0 WHERE state = 'received' AND lease_until > 0 AND lease_owner = :owner

SELECT 1 FROM submission WHERE state = 'received' AND lease_until <= :now LIMIT 1

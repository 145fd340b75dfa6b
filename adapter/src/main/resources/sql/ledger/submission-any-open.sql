SELECT 1 FROM submission WHERE state = 'received' AND (lease_until <= :now OR lease_until > :farthest) LIMIT 1

UPDATE submission SET lease_until = 0, tries = MAX(tries - 1, 0)
WHERE id = :submission AND fence = :fence AND state = 'received'

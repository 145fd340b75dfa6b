UPDATE submission SET tries = tries - 1 WHERE id = :submission AND fence = :fence AND state = 'received'

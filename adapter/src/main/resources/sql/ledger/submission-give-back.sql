UPDATE submission SET lease_until = 0, tries = CASE WHEN tries > 0 THEN tries - 1 ELSE 0 END
WHERE id = :submission AND fence = :fence AND state = 'received'

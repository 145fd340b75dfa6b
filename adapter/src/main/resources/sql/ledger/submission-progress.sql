UPDATE submission SET entries = :entries, state = :state, lease_until = :until, tries = 0
WHERE id = :submission AND fence = :fence AND state = 'received'

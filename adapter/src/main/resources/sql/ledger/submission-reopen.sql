UPDATE submission SET state = 'received', entries = :entries, tries = 0, lease_until = 0 WHERE id = :submission

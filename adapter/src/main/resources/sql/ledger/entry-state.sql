UPDATE entry SET state = :to, changed_at = :now, other_entry = COALESCE(:other, other_entry), lease_until = 0,
  tries = 0, next_try_at = :now
WHERE id = :entry AND state = :from

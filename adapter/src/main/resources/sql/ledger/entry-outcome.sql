UPDATE entry SET state = :to, changed_at = CASE WHEN state = :to THEN changed_at ELSE :now END, lease_until = 0, next_try_at = :nextTryAt, tries = :tries,
  findings = :findings, code = :code, other_entry = :other
WHERE id = :entry AND state = 'ready' AND fence = :fence

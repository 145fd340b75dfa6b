UPDATE entry SET state = 'delivered', changed_at = :now, delivered_at = :now, location = :location, version = :version,
  derived = :derived, moves = :moves, written = :written, accepted_at = coalesce(:acceptedAt, accepted_at), lease_until = 0, other_entry = NULL
WHERE id = :entry AND state = 'ready' AND fence = :fence

UPDATE submission
SET lease_until = :until, lease_owner = :owner, tries = tries + 1, fence = fence + 1
WHERE id = (
  SELECT id FROM submission WHERE state = 'received' AND (lease_until <= :now OR lease_until > :farthest)
  ORDER BY id LIMIT 1
  FOR UPDATE SKIP LOCKED)
RETURNING *

SELECT 1 FROM entry WHERE state = 'ready' AND (next_try_at <= :now OR next_try_at > :farthest)
  AND (lease_until <= :now OR lease_until > :farthest) LIMIT 1

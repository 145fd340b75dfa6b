SELECT 1 FROM entry WHERE state = 'ready' AND next_try_at <= :now AND lease_until <= :now LIMIT 1

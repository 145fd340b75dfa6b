SELECT source, COUNT(*) AS n, MIN(changed_at) AS oldest FROM entry WHERE state = 'ready' GROUP BY source

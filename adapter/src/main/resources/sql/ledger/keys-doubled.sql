-- Keys under which more than one entry counts as delivered.
SELECT key_hash FROM entry
WHERE state = 'delivered' AND (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to
GROUP BY key_hash HAVING COUNT(*) > 1 LIMIT 100

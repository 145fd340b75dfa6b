SELECT source, state, COUNT(*) AS n FROM entry
WHERE (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to
GROUP BY source, state

SELECT source, state, COUNT(*) AS n, SUM(entries) AS entries FROM submission
WHERE (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to
GROUP BY source, state

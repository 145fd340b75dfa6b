SELECT MIN(received_at) AS first, MAX(received_at) AS last FROM submission
WHERE (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to

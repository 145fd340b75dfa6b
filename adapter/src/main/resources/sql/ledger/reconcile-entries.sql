SELECT * FROM entry
WHERE (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to

SELECT * FROM entry
WHERE state = 'delivered' AND id > :after
  AND (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to
ORDER BY id LIMIT :limit

SELECT * FROM entry
WHERE state = 'rejected'
  AND (:source IS NULL OR source = :source)
  AND (:code IS NULL OR code = :code)
  AND (:since IS NULL OR received_at >= :since)
ORDER BY urgency DESC, id
LIMIT :limit OFFSET :offset

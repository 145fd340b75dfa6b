-- The queue behind (:urgency, :id), the highest volumes first.
SELECT * FROM entry
WHERE state = 'rejected'
  AND code = :code AND source = :source
  AND urgency BETWEEN :atLeast AND :urgency AND (urgency < :urgency OR id > :id)
  AND received_at >= :since
ORDER BY urgency DESC, id
LIMIT :limit

SELECT COUNT(*) FROM (
  SELECT 1 FROM entry
  WHERE state = 'rejected'
    AND urgency >= :atLeast AND received_at >= :since
  LIMIT :limit) AS found

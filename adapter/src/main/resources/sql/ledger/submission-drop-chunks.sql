DELETE FROM submission_chunk WHERE submission_id IN (
  SELECT id FROM submission WHERE state = 'arriving' AND (lease_owner = :owner OR received_at < :before))

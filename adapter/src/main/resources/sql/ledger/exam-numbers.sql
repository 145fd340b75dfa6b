SELECT DISTINCT device_serial, exam_id FROM entry
WHERE exam_id IS NOT NULL AND device_serial IS NOT NULL
  AND (:source IS NULL OR source = :source) AND received_at >= :from AND received_at < :to
ORDER BY device_serial, exam_id

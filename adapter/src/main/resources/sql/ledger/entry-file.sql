INSERT INTO entry (submission_id, ordinal, line, byte_offset, byte_length, source, received_at, state, changed_at, accepted_at,
  key_hash, content_hash, revision, status, scan, findings, code, urgency, device_serial, exam_id, mapping, policy,
  overlay, other_entry, next_try_at)
VALUES (:submission, :ordinal, :line, :offset, :length, :source, :receivedAt, :state, :now, :acceptedAt,
  :key, :content, :revision, :status, :scan, :findings, :code, :urgency, :deviceSerial, :examId, :mapping, :policy,
  :overlay, :other, :now)
RETURNING id

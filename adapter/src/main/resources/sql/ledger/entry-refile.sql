UPDATE entry SET state = :state, changed_at = :now, accepted_at = :acceptedAt, key_hash = :key, content_hash = :content, revision = :revision,
  status = :status, scan = :scan, findings = :findings, code = :code, urgency = :urgency,
  device_serial = :deviceSerial, exam_id = :examId, mapping = :mapping, policy = :policy, other_entry = :other,
  next_try_at = :now, tries = 0, lease_until = 0
WHERE id = :entry

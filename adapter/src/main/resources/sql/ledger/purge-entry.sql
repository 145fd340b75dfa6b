UPDATE entry SET purged_at = :now, scan = NULL, written = NULL, findings = '[]', overlay = NULL, urgency = 0
WHERE id = :entry AND purged_at IS NULL
  AND state IN ('delivered', 'duplicate', 'superseded', 'discarded', 'returned')

SELECT seq, at, actor, event, submission_id, entry_id, from_state, to_state, detail, payload_hash, hash FROM trail
WHERE entry_id = :entry AND seq < :before
  AND at >= :since AND (:actor = '' OR actor = :actor) AND (:event = '' OR event = :event)
ORDER BY seq DESC
LIMIT :limit

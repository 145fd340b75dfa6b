-- The latest events before one, from a stretch of the trail that is read whole at most.
SELECT seq, at, actor, event, submission_id, entry_id, from_state, to_state, detail, payload_hash, hash FROM trail
WHERE seq < :before AND seq >= :before - :stretch
  AND at >= :since AND (:actor = '' OR actor = :actor) AND (:event = '' OR event = :event)
ORDER BY seq DESC
LIMIT :limit

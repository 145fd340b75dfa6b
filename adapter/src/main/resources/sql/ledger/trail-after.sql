SELECT seq, at, actor, event, submission_id, entry_id, from_state, to_state, detail, payload_hash, hash FROM trail
WHERE seq > :after AND at >= :since
ORDER BY seq
LIMIT :limit

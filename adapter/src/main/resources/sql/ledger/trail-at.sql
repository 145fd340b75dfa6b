SELECT seq, at, actor, event, submission_id, entry_id, from_state, to_state, detail, payload_hash, hash
FROM trail
WHERE seq = :seq

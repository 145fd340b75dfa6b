INSERT INTO trail (seq, at, actor, event, submission_id, entry_id, from_state, to_state, detail, payload_hash, hash)
VALUES (:seq, :at, :actor, :event, :submission, :entry, :from, :to, :detail, :payloadHash, :hash)

INSERT INTO trail_payload (seq, salt, payload) VALUES (:seq, :salt, :payload)

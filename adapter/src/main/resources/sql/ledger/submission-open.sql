INSERT INTO submission (source, kind, name, content_type, idempotency_key, received_at, sha256, size, state, lease_owner)
VALUES (:source, :kind, :name, :contentType, :idempotencyKey, :now, '', 0, 'arriving', :owner)

INSERT INTO token (name, hash, source, created_at) VALUES (:name, :hash, :source, :createdAt)

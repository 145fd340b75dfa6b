SELECT * FROM token WHERE hash = :hash AND revoked_at IS NULL

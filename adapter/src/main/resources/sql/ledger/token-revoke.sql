UPDATE token SET revoked_at = :at WHERE name = :name AND revoked_at IS NULL

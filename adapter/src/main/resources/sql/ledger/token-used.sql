UPDATE token SET used_at = :at WHERE name = :name

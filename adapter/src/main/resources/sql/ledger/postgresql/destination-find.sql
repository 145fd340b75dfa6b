SELECT 0 AS rowid, d.* FROM destination d WHERE name = :name

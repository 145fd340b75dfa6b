SELECT rowid, * FROM destination WHERE name = :name

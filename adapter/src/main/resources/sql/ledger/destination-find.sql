SELECT * FROM destination WHERE name = :name

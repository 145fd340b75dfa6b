SELECT * FROM token WHERE name = :name

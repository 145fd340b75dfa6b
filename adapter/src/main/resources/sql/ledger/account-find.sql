SELECT * FROM account WHERE name = :name

DELETE FROM account WHERE name = :name

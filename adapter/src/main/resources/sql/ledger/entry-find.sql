SELECT * FROM entry WHERE id = :entry

SELECT * FROM submission WHERE id = :submission

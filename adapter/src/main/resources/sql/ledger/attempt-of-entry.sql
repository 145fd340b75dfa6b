SELECT * FROM attempt WHERE entry_id = :entry ORDER BY id

UPDATE attempt SET detail = NULL WHERE entry_id = :entry AND detail IS NOT NULL

SELECT 1 FROM trail WHERE entry_id = :entry AND seq > :seq AND event = 'purged' LIMIT 1

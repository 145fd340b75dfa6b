DELETE FROM trail_payload WHERE seq IN (SELECT seq FROM trail WHERE entry_id = :entry)

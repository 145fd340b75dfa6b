SELECT * FROM submission WHERE sha256 = :sha256 AND source = :source AND state <> 'arriving'
ORDER BY id DESC LIMIT 1

SELECT answer FROM submission
WHERE sha256 = :sha256 AND source = :source AND answer IS NOT NULL
ORDER BY id
LIMIT 1

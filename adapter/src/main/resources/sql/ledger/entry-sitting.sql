-- The scans of a sitting that stand, are on their way, or wait for a person.
SELECT * FROM entry
WHERE device_serial = :serial AND exam_id = :exam AND key_hash IS NOT NULL AND state IN ('ready', 'delivered', 'rejected')
ORDER BY id

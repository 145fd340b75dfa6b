-- The lowest as texts, which the index gives at once. Among so many there is a low number too, unless widths are mixed oddly.
SELECT exam_id FROM entry WHERE device_serial = :device AND exam_id IS NOT NULL
ORDER BY exam_id LIMIT 50

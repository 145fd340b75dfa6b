-- When each device was last heard of: one step in the index each, however many entries there are.
WITH RECURSIVE each(serial) AS (
  SELECT MIN(device_serial) FROM entry WHERE device_serial IS NOT NULL
  UNION ALL
  SELECT (SELECT MIN(device_serial) FROM entry WHERE device_serial > each.serial) FROM each WHERE each.serial IS NOT NULL)
SELECT serial, (SELECT MAX(received_at) FROM entry WHERE device_serial = serial) AS latest FROM each
WHERE serial IS NOT NULL
ORDER BY latest

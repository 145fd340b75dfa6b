SELECT EXISTS (SELECT 1 FROM entry WHERE device_serial = :device AND exam_id = :exam)

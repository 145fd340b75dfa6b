SELECT COUNT(*) AS n, MIN(received_at) AS oldest, MAX(changed_at) AS newest FROM entry WHERE state = 'rejected' AND urgency >= :alarm

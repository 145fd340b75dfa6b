SELECT code, COUNT(*) AS n, SUM(CASE WHEN urgency >= :alarm THEN 1 ELSE 0 END) AS urgent, MAX(urgency) AS highest FROM entry
WHERE state = 'rejected'
GROUP BY code
ORDER BY urgent DESC, highest DESC, n DESC, code

DELETE FROM submission WHERE id = :submission AND state = 'arriving'

DELETE FROM submission WHERE state = 'arriving'
